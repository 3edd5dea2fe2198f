"""Close-in checks of a point, in order and not, for the tests of certificates and labels. No tests here."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from pattress.model.circuit import Box, Circuit, Conductors, Load
from pattress.model.closein import CloseIn, Sample, StepOutcome, StepResult
from pattress.model.kept import SignOff
from pattress.model.plan import Drive, Point
from pattress.model.vocabulary import Value
from pattress.report.certificate_record import CertificateRecord
from pattress.report.planned import planned_facts
from unit.report.examples import HOSTILE

BEGAN_AT = datetime(2026, 11, 25, 8, 10, tzinfo=UTC)
MAC = "02:00:5e:00:53:01"
STEPS = {
    "found": "The module is on the network",
    "recognised": "It is of the planned kind, with its firmware",
    "settings": "Every setting is as policy and plan say",
    "fit": "It is fit for its circuit",
    "input.1": "The switch of input 1",
    "input.2": "The switch of input 2",
    "drive.1": "What input 2 drives: output.1 at yard-lights",
    "output.1": "output.1 feeds six downlights",
    "output.2": "output.2 feeds the fan",
    "radio": "It can be heard with the plate on",
    "heat": "It stays cool enough under load",
    "power-cut": "It comes back after a power cut, as planned",
    "outside": "It was silent towards the outside",
    "sign-off": "A person agrees",
}
SENTENCES: dict[str, tuple[str, Mapping[str, Value]]] = {
    "found": (f"{MAC} (ouseltide-pair) at 192.0.2.17; it appeared when it was powered", {"device": f"mac:{MAC}"}),
    "recognised": (
        "it is ouseltide-pair, firmware 2.1.0",
        {"maker": "Ouseltide", "model": "Pair", "firmware.version": "2.1.0", "mac": MAC},
    ),
    "settings": ("41 of 41 checks are met", {"met": 41, "broken": 0, "unverified": 0, "waived": 0}),
    "fit": ("12 of 12 checks are met", {"met": 12, "broken": 0}),
    "input.1": ("input 1 moved 1.2 s after it was asked for, the right way round, maintained", {"edges": 4}),
    "input.2": ("input 2 moved 0.8 s after it was asked for, the right way round, momentary", {"first_edge_s": 0.8}),
    "drive.1": ("output.1 at yard-lights came on 0.6 s after it", {"answered_s": 0.6}),
    "output.1": ("52.4 W on, planned 54 W; 0.2 W off", {"on_w": 52.4, "off_w": 0.2, "planned_w": 54.0}),
    "output.2": ("29.8 W on, planned 30 W; 0.1 W off", {"on_w": 29.8, "off_w": 0.1, "planned_w": 30.0}),
    "radio": ("-61 dBm with the plate on, 9 dB of margin; the plate takes 3 dB", {"margin_db": 9.0, "plate_db": 3.0}),
    "heat": (
        "it will settle at 61 °C (58 to 64 °C with 90 %), 10 K or more below 95 °C",
        {"limit_c": 95.0, "settles_c": 61.0, "low_c": 58.0, "high_c": 64.0, "load_w": 82.2},
    ),
    "power-cut": ("it came back after 9.5 s of silence, as planned", {"silent_s": 9.5}),
    "outside": ("nothing was seen of it; router-flows listened", {}),
    "sign-off": ("A. Fitter agrees", {}),
}
VALUES: dict[str, Value] = {
    "access.password_set": True, "access.remote_debug": False, "cloud.enabled": False, "firmware.updates": "manual",
    "firmware.version": "2.1.0", "input.1.action": "copies", "input.1.contact": "maintained", "input.1.inverted": False,
    "input.2.action": "reports", "input.2.contact": "momentary", "input.2.inverted": False, "kind": "ouseltide-pair",
    "mac": MAC, "maker": "Ouseltide", "model": "Pair", "mqtt.authenticated": True, "mqtt.enabled": True,
    "mqtt.host": "broker.home.arpa", "mqtt.port": 8883, "mqtt.tls": True, "net.address_source": "dhcp",
    "net.setup_ap_open": False, "net.ssid": "mill-things", "output.1.at_power_up": "off",
    "output.1.over_power.limit_w": 2000, "output.1.over_temperature.enabled": True,
    "output.1.over_temperature.limit_c": 85, "output.2.at_power_up": "as-before", "output.2.over_power.limit_w": 2000,
    "output.2.over_temperature.enabled": True, "output.2.over_temperature.limit_c": 85, "serial": "P-004711",
    "time.server": "time.home.arpa", "time.zone": "Europe/Lisbon",
}  # fmt: skip
POINT = Point(
    name="hall-lights",
    room="Hall",
    kind="ouseltide-pair",
    circuit=Circuit(
        voltage_v=230.0,
        breaker_a=16.0,
        conductors=Conductors(mm2=1.5),
        length_m=18.0,
        has_neutral=True,
        ambient_c=30.0,
        loads=(
            Load(channel="output.1", kind="led-lamp", name="six downlights", power_w=9.0, count=6),
            Load(channel="output.2", kind="motor", name="the fan", power_w=30.0, hazard="moves"),
        ),
        box=Box(volume_cm3=295.0, conductors=(Conductors(mm2=1.5, count=5),), module_cm3=40.0),
    ),
    drives=(Drive(input=2, channel="output.1", point="yard-lights"),),
)
PLANNED = planned_facts("Larkspur Mill", POINT, None, STEPS) | {"maker": "Ouseltide", "model": "Pair"}


def heat_samples(minutes: int = 10) -> tuple[Sample, ...]:
    """A rise from 27 to 61 degrees with a time constant of six minutes, as a sensor of half degrees gives it."""
    return tuple(
        Sample(
            at=BEGAN_AT + timedelta(minutes=20, seconds=5 * number),
            name="health.temperature_c",
            value=round((61 - 34 * math.exp(-number / 72)) * 2) / 2,
        )
        for number in range(minutes * 12)
    )


def step(
    name: str, outcome: StepOutcome = "met", sentence: str | None = None, *, minute: float = 0, number: int = 1
) -> StepResult:
    words, facts = SENTENCES[name]
    return StepResult(
        step=name,
        title=STEPS[name],
        outcome=outcome,
        sentence=words if sentence is None else sentence,
        began_at=BEGAN_AT + timedelta(minutes=minute),
        ended_at=BEGAN_AT + timedelta(minutes=minute + 1, seconds=12),
        facts=facts if outcome == "met" else {},
        samples=heat_samples() if name == "heat" and outcome == "met" else (),
        number=number,
    )


def check(*changed: StepResult, without: Sequence[str] = ()) -> CloseIn:
    """A check that was signed off, with these steps instead of the ones that are met."""
    by_name = {one.step: one for one in changed}
    results = [by_name.get(name, step(name, minute=2 * at)) for at, name in enumerate(STEPS) if name not in without]
    return CloseIn(
        id=3,
        point="hall-lights",
        who="A. Fitter",
        began_at=BEGAN_AT,
        device=f"mac:{MAC}",
        ended_at=BEGAN_AT + timedelta(minutes=31),
        is_signed_off=True,
        planned=PLANNED,
        results=tuple(results),
    )


AGREED = SignOff(
    device=f"mac:{MAC}", point="hall-lights", at=BEGAN_AT + timedelta(minutes=30), who="A. Fitter",
    why="close-in check 3", values=VALUES,
)  # fmt: skip


def record(of: CloseIn | None = None, *, agreed: SignOff | None = AGREED, **more: object) -> CertificateRecord:
    known = {"site": "Larkspur Mill", "page_url": "http://pattress.home.arpa"} | more
    return CertificateRecord(check=check() if of is None else of, agreed=agreed, **known)  # type: ignore[arg-type]


IN_ORDER = record()
WITH_GAPS = record(
    check(
        step("radio", "skipped", "the plate is not there yet", minute=18),
        step("outside", "unverified", "the site names no source that would tell: see [watch]", minute=24),
        step("input.1", minute=8, number=3),
    )
)
NOT_IN_ORDER = record(check(step("heat", "broken", "it will settle at 97 °C, and sheds its load at 95 °C", minute=20)))
UNFINISHED = record(
    replace(
        check(step("output.2", "broken", "the fan did not start: 0.1 W", minute=16), without=("heat", "power-cut",
              "outside", "sign-off")),
        ended_at=None, is_signed_off=False,
    ),
    agreed=None,
)  # fmt: skip
GIVEN_UP = record(replace(check(without=("sign-off",)), is_signed_off=False), agreed=None)


def hostile_record() -> CertificateRecord:
    """A record in which every text that a stranger, a file or a person may choose is hostile."""
    results = tuple(
        replace(one, title=HOSTILE, sentence=HOSTILE, step=f"input.{HOSTILE}", facts={HOSTILE: 1.0, "device": HOSTILE})
        for one in check().results[:2]
    )
    of = replace(
        check(), point=HOSTILE[:60], who=HOSTILE, device=f"name:{HOSTILE}", results=results,
        planned={"site": HOSTILE, "room": HOSTILE, "kind": HOSTILE, "circuit.voltage_v": HOSTILE,
                 "circuit.loads.1.name": HOSTILE, "circuit.loads.1.hazard": HOSTILE, "steps.heat": HOSTILE},
    )  # fmt: skip
    agreed = replace(AGREED, who=HOSTILE, why=HOSTILE, values={"net.ssid": HOSTILE, HOSTILE: HOSTILE})
    return record(of, agreed=agreed, site=HOSTILE)
