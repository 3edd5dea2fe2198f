"""Every point, device and source is accounted for."""

from dataclasses import replace
from datetime import timedelta

import pytest

from pattress.identity import merge
from pattress.model.circuit import Circuit, Load
from pattress.model.device import Sighting
from pattress.model.kept import SignOff
from pattress.model.plan import OtherDevice, Plan, Point
from pattress.model.reading import Reading, Unreadable
from pattress.model.site import Site
from pattress.model.source import SourceReport
from pattress.policy.account import Evidence, account
from pattress.policy.compiled import CompiledPolicy
from pattress.policy.past import Past
from pattress.site.tables_file import shipped_tables
from unit.policy.examples import KITCHEN, MAC, NOON, need, rule, site, snapshot

RULES = (rule("cloud-off", need("cloud.enabled", "equal", False)),)


def seen(name: str = "Twin 1", **more: object) -> Sighting:
    fields: dict[str, object] = {
        "source": "mdns",
        "seen_at": NOON,
        "name": name,
        "mac": MAC,
        "kind": "twin",
        "address": "192.0.2.7",
        **more,
    }
    return Sighting(**fields)  # type: ignore[arg-type]


def told(
    house: Site,
    sightings: list[Sighting],
    readings: dict[str, Reading] | None = None,
    sources: tuple[SourceReport, ...] = (),
    past: Past | None = None,
) -> list[tuple[str, str, str, str | None]]:
    """Return (subject, rule, outcome, found or reason) of every finding that is not met."""
    evidence = Evidence(merged=merge(sightings), readings=readings or {}, sources=sources, past=past or Past())
    findings = account(house, CompiledPolicy(house.policy, house.networks), evidence)
    return [
        (one.subject.title, one.rule.id, one.outcome, one.remark or one.found)
        for one in findings
        if one.outcome != "met"
    ]


def test_a_module_that_is_there_answers_and_is_as_planned_leaves_nothing_to_say() -> None:
    house = site(KITCHEN, rules=RULES)

    assert told(house, [seen()], {f"mac:{MAC}": snapshot({"cloud.enabled": False})}) == []


def test_a_planned_module_that_nothing_speaks_of_is_broken_and_its_checks_are_unverified() -> None:
    assert told(site(KITCHEN, rules=RULES), []) == [
        ("kitchen-lamps", "device-present", "broken", "nothing was seen or heard of it"),
        ("kitchen-lamps", "cloud-off", "unverified", "the module is not there"),
    ]


def test_what_was_kept_is_no_proof_that_a_module_is_there() -> None:
    kept = seen(source="kept", seen_at=NOON - timedelta(days=1))
    silent = Unreadable(device=f"mac:{MAC}", kind="twin", taken_at=NOON, reason="no answer")

    findings = told(site(KITCHEN, rules=RULES), [kept], {f"mac:{MAC}": silent})

    assert ("kitchen-lamps", "device-present", "broken", "nothing was seen or heard of it") in findings


def test_a_module_of_which_only_retained_messages_speak_is_unverified() -> None:
    retained = seen(source="mqtt", is_dated=False)
    silent = Unreadable(device=f"mac:{MAC}", kind="twin", taken_at=NOON, reason="no answer")

    findings = told(site(KITCHEN, rules=RULES), [retained], {f"mac:{MAC}": silent})

    assert findings[0][:3] == ("kitchen-lamps", "device-present", "unverified")
    assert findings[1] == ("kitchen-lamps", "device-answers", "unverified", "no answer")


def test_a_live_answer_proves_what_retained_messages_announce() -> None:
    findings = told(
        site(KITCHEN, rules=RULES),
        [seen(source="mqtt", is_dated=False)],
        {f"mac:{MAC}": snapshot({"cloud.enabled": False})},
    )

    assert findings == []


def test_a_silent_module_is_unverified_with_its_reason() -> None:
    silent = Unreadable(device=f"mac:{MAC}", kind="twin", taken_at=NOON, reason="no complete answer within 5 s")

    assert told(site(KITCHEN, rules=RULES), [seen()], {f"mac:{MAC}": silent}) == [
        ("kitchen-lamps", "device-answers", "unverified", "no complete answer within 5 s"),
        ("kitchen-lamps", "cloud-off", "unverified", "no complete answer within 5 s"),
    ]


def test_a_module_that_was_not_asked_is_unverified() -> None:
    assert [one[:3] for one in told(site(KITCHEN, rules=RULES), [seen(address=None)])] == [
        ("kitchen-lamps", "device-answers", "unverified"),
        ("kitchen-lamps", "cloud-off", "unverified"),
    ]


def test_a_device_that_no_point_and_no_entry_explains_is_broken() -> None:
    assert told(site(), [seen()]) == [("Twin 1", "device-planned", "broken", "Twin 1 (twin, 192.0.2.7) is in no plan")]


def test_an_entry_explains_a_device_that_is_no_module() -> None:
    house = replace(site(), plan=Plan(others=(OtherDevice(name="bridge", reason="r", mac=MAC),)))

    assert told(house, [seen()]) == []


def test_another_kind_than_planned_is_broken() -> None:
    house = site(replace(KITCHEN, kind="single"), rules=RULES)

    findings = told(house, [seen()], {f"mac:{MAC}": snapshot({"cloud.enabled": False})})

    assert findings == [("kitchen-lamps", "module-as-planned", "broken", "it is twin, not single")]


def test_an_identity_claimed_twice_is_broken_and_nothing_of_it_is_judged() -> None:
    findings = told(site(KITCHEN, rules=RULES), [seen(), seen("Twin 2", address="192.0.2.8")])

    assert findings == [
        (
            "kitchen-lamps",
            "identity-unique",
            "broken",
            f"mac:{MAC} is claimed by 'Twin 1' at 192.0.2.7 and 'Twin 2' at 192.0.2.8",
        ),
        ("kitchen-lamps", "cloud-off", "unverified", "its identity is claimed by more than one device"),
    ]


def test_a_device_outside_the_device_networks_is_broken_but_link_local_is_inside() -> None:
    house = site(KITCHEN)
    answer: dict[str, Reading] = {f"mac:{MAC}": snapshot({})}

    outside = told(house, [seen(address="198.51.100.7")], answer)
    link_local = told(house, [seen(address="fe80::7%eth0")], answer)

    assert outside == [("kitchen-lamps", "device-inside", "broken", "it is announced at 198.51.100.7")]
    assert link_local == []


def test_a_point_without_a_module_bound_to_it_is_unverified() -> None:
    house = site(Point(name="new", room="Hall", kind="twin"), rules=RULES)

    assert [one[:3] for one in told(house, [])] == [
        ("new", "point-bound", "unverified"),
        ("new", "cloud-off", "unverified"),
    ]


@pytest.mark.parametrize(
    ("state", "is_needed", "is_told"),
    [
        ("heard", True, False),
        ("silent", False, False),
        ("silent", True, True),
        ("refused", False, True),
        ("refused", True, True),
        ("failed", False, True),
    ],
)
def test_a_source_that_gave_nothing_is_told_where_something_depends_on_it(
    state: str, is_needed: bool, is_told: bool
) -> None:
    report = SourceReport(source="broker house", state=state, detail="why", is_needed=is_needed)  # type: ignore[arg-type]

    findings = told(site(), [], sources=(report,))

    assert findings == ([("broker house", "source-heard", "unverified", "why")] if is_told else [])


GOOD: dict[str, Reading] = {f"mac:{MAC}": snapshot({"cloud.enabled": False})}


def agreed(device: str = f"mac:{MAC}") -> dict[str, SignOff]:
    signed = SignOff(device=device, point="kitchen-lamps", at=NOON, who="A", why="w", values={"cloud.enabled": False})
    return {device: signed}


def test_a_drifted_setting_says_which_rule_it_breaks_besides() -> None:
    reading: dict[str, Reading] = {f"mac:{MAC}": snapshot({"cloud.enabled": True})}

    findings = told(site(KITCHEN, rules=RULES), [seen()], reading, past=Past(signed_off=agreed()))

    assert [one[1:] for one in findings] == [
        ("cloud-off", "broken", "true"),
        ("as-signed-off", "broken", "it also breaks cloud-off"),
    ]


def test_a_replaced_module_is_told_and_its_point_was_signed_off_with_another() -> None:
    past = Past(signed_off=agreed("mac:00:00:5e:00:53:09"), placements={"kitchen-lamps": "mac:00:00:5e:00:53:09"})

    findings = told(site(KITCHEN, rules=RULES), [seen()], GOOD, past=past)

    assert findings == [
        (
            "kitchen-lamps",
            "as-signed-off",
            "unverified",
            "another module was signed off here; this one was not",
        ),
        ("kitchen-lamps", "module-kept", "broken", f"it was mac:00:00:5e:00:53:09 and is mac:{MAC} now"),
    ]


@pytest.mark.parametrize("before", [f"mac:{MAC}", "serial:S1", "name:Twin 1"])
def test_a_module_that_was_known_by_less_is_the_same_module(before: str) -> None:
    past = Past(placements={"kitchen-lamps": before})

    assert told(site(KITCHEN), [seen(serial="S1")], GOOD, past=past) == []


def test_a_module_without_a_serial_is_not_the_one_whose_serial_is_the_word_none() -> None:
    past = Past(placements={"kitchen-lamps": "serial:None"}, signed_off=agreed("serial:None"))

    findings = told(site(KITCHEN, rules=RULES), [seen()], GOOD, past=past)

    assert [(rule, outcome) for _, rule, outcome, _ in findings] == [
        ("as-signed-off", "unverified"),
        ("module-kept", "broken"),
    ]


def test_an_address_that_moved_is_told() -> None:
    past = Past(addresses={f"mac:{MAC}": "192.0.2.5"})

    assert told(site(KITCHEN), [seen()], GOOD, past=past) == [
        ("kitchen-lamps", "address-kept", "broken", "it was at 192.0.2.5 and is at 192.0.2.7 now")
    ]


def test_an_address_that_stayed_is_met_although_another_one_came() -> None:
    past = Past(addresses={f"mac:{MAC}": "192.0.2.7"})

    assert told(site(KITCHEN), [seen(), seen(address="192.0.2.8")], GOOD, past=past) == []


def test_a_module_with_another_hardware_address_than_it_reports_is_told() -> None:
    neighbour = Sighting(source="neighbour", seen_at=NOON, mac="00:00:5e:00:53:09", address="192.0.2.7")

    assert told(site(KITCHEN), [seen(), neighbour], GOOD) == [
        (
            "kitchen-lamps",
            "mac-true",
            "broken",
            f"it reports {MAC}, and its address has 00:00:5e:00:53:09",
        )
    ]


def test_a_host_that_only_the_link_knows_is_in_no_plan() -> None:
    neighbour = Sighting(source="neighbour", seen_at=NOON, mac="00:00:5e:00:53:09", address="192.0.2.9")

    [finding] = told(site(), [neighbour])

    assert finding[1:3] == ("device-planned", "broken")


PUMP = Load(channel="output.1", kind="motor", name="pump", power_w=60, hazard="pumps")
NOTHING = Evidence(merged=merge([]), readings={}, sources=())


def test_a_plan_with_circuits_is_judged_against_the_data_sheets() -> None:
    plain = account(site(KITCHEN), CompiledPolicy(site(KITCHEN).policy, site(KITCHEN).networks), NOTHING)
    wired = replace(KITCHEN, circuit=Circuit(voltage_v=230, loads=(PUMP,)))
    house = site(wired, tables=shipped_tables("iec"))

    findings = account(house, CompiledPolicy(house.policy, house.networks), NOTHING)

    more = {(one.rule.id, one.setting): one.outcome for one in findings[len(plain) :]}
    assert [one.rule.id for one in findings[: len(plain)]] == [one.rule.id for one in plain]
    assert more["fit-supply", None] == "unverified"  # the kind has no data sheet
    assert more["hazard-stays-off", None] == "met"
    assert more["hazard-stays-off", "output.1.at_power_up"] == "unverified"
    assert not any(one.rule.id.startswith(("fit-", "hazard-")) for one in plain)
    assert {one.subject.point for one in findings[len(plain) :]} == {"kitchen-lamps"}
