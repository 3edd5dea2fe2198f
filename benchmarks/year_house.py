"""The house of the simulated year: what its devices report, what changes and breaks, and what an audit finds of it.

What belongs here: the house, day by day, from one seed. What does not: keeping any of it.
"""

import random
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from benchmarks.documents import KIND, mac_of
from benchmarks.emulated import EmulatedDevices
from benchmarks.house import reported_by, seen_device, site_of
from pattress.identity import Merged
from pattress.model.device import Device
from pattress.model.finding import Finding
from pattress.model.kept import SignOff
from pattress.model.reading import Reading, Reported, Snapshot, Unreadable
from pattress.model.vocabulary import Value
from pattress.policy.account import Evidence, account
from pattress.policy.compiled import CompiledPolicy
from pattress.policy.drift import is_setting
from pattress.policy.past import Past
from pattress.store.encoding import packed

NETWORK = "127.88"
STEP_S = 300
STEPS = 288  # five-minute readings a day
TRACES = 64  # distinct days of measurements; a device's day is one of them by chance. Each is packed by itself
LIMIT = "output.1.over_temperature.limit_c"
LIMIT_CHANGE_DAYS = 60  # between two changes of it by hand, of one device
FIRST_FIRMWARE = "3.0.9"
FIRMWARE_NIGHTS = {100: "3.1.7", 280: "3.2.1"}  # the last is what the devices say when they are read
UNREADABLE_SHARE = 0.005  # of devices, on any night
FAULT_SHARE = 1 / 90  # of devices, of which something breaks on any night
FAULT_DAYS = 3
FAULTS: dict[str, Value] = {"cloud.enabled": True, "input.1.action": "copies"}
STATES = ("output.1.on", "input.1.closed")


class House:
    """The devices, what they report now, and what is broken now. Everything follows from one seed."""

    def __init__(self, count: int) -> None:
        self.numbers = random.Random(20260101)
        self.count = count
        self.devices = EmulatedDevices(NETWORK, count, port=80)  # as they will be served when they are read
        self.site = site_of(self.devices, Path(), listen_s=0, answer_s=1)
        self.reported = [{name: one.value for name, one in reported_by(number).items()} for number in range(count)]
        self.values = [
            {name: value for name, value in one.items() if is_setting(name)} | {"firmware.version": FIRST_FIRMWARE}
            for one in self.reported
        ]
        self.measured = sorted(_trace(self.numbers, 1)[0])
        self.traces = [_trace(self.numbers, STEPS) for _ in range(TRACES)]
        self.texts = [[packed(one, self.measured)[1] for one in trace] for trace in self.traces]
        self.faults: dict[tuple[int, str], int] = {}  # the day on which each will have been mended
        self._policy = CompiledPolicy(self.site.policy, self.site.networks)
        self._signed: dict[str, SignOff] = {}

    def identity(self, number: int) -> str:
        return f"mac:{mac_of(number)}"

    def night(self, day: int) -> list[int]:
        """Let a night's changes happen; return the devices that were changed by hand."""
        changed = []
        for number in range(self.count):
            if self.numbers.random() < 1 / LIMIT_CHANGE_DAYS:
                changed.append(number)
                self.values[number][LIMIT] = self.numbers.randrange(60, 95)
            if day in FIRMWARE_NIGHTS:
                self.values[number]["firmware.version"] = FIRMWARE_NIGHTS[day]
            if self.numbers.random() < FAULT_SHARE:
                self.faults[(number, self.numbers.choice(list(FAULTS)))] = day + FAULT_DAYS
        self.faults = {key: until for key, until in self.faults.items() if until > day}
        return changed

    def readings(self, at: datetime) -> dict[int, Reading]:
        readings: dict[int, Reading] = {}
        for number in range(self.count):
            if self.numbers.random() < UNREADABLE_SHARE:
                reason = "no complete answer within 30 s"
                readings[number] = Unreadable(device=self.identity(number), kind=KIND, taken_at=at, reason=reason)
            else:
                readings[number] = self.snapshot(number, at, self.traces[self.numbers.randrange(TRACES)][0])
        return readings

    def snapshot(self, number: int, at: datetime, measured: Mapping[str, Value]) -> Snapshot:
        values = {**self._settings(number), **dict.fromkeys(STATES, False), **measured}
        return _snapshot(self.identity(number), at + timedelta(milliseconds=self.numbers.randrange(900)), values)

    def seen(self, at: datetime) -> list[Device]:
        return [seen_device(number, at, address) for number, address in enumerate(self.devices.addresses)]

    def findings(self, readings: Mapping[int, Reading], at: datetime) -> list[Finding]:
        """Return what the policy says of readings. It judges the measurements that the devices will be read with."""
        judged: dict[str, Reading] = {}
        for number, reading in readings.items():
            if isinstance(reading, Snapshot):
                reading = _snapshot(reading.device, reading.taken_at, self.reported[number] | self._settings(number))
            judged[reading.device] = reading
        merged = Merged(devices=tuple(self.seen(at)), conflicts=())
        evidence = Evidence(merged=merged, readings=judged, sources=(), past=Past(signed_off=self._signed))
        return account(self.site, self._policy, evidence)

    def sign_off(self, changed: Sequence[int], at: datetime) -> list[SignOff]:
        """Agree to how these devices are set."""
        agreed = [
            SignOff(device=self.identity(number), point=f"point-{number}", at=at, who="Wren Okafor",
                    why="as agreed with the owner", values=dict(self.values[number]))
            for number in changed
        ]  # fmt: skip
        self._signed |= {one.device: one for one in agreed}
        return agreed

    def _settings(self, number: int) -> dict[str, Value]:
        broken = {name: value for name, value in FAULTS.items() if (number, name) in self.faults}
        return self.values[number] | broken


def _snapshot(device: str, at: datetime, values: Mapping[str, Value]) -> Snapshot:
    reported = {name: Reported(value=value, origin="GET /lines") for name, value in values.items()}
    return Snapshot(device=device, kind=KIND, taken_at=at, duration_s=0.5, values=reported)


def _trace(numbers: random.Random, steps: int) -> list[dict[str, int | float]]:
    """Return a day of ten measurements of a lamp that is on now and then, each with the noise that meters have."""
    return list(_measurements(numbers, steps))


def _measurements(numbers: random.Random, steps: int) -> Iterator[dict[str, int | float]]:
    is_on, lamp_w = False, numbers.uniform(5, 200)
    volts, warmth, strength = numbers.uniform(226, 236), numbers.uniform(35, 50), numbers.randrange(-75, -45)
    energy, uptime = numbers.uniform(1e4, 1e6), numbers.randrange(100_000)
    for _ in range(steps):
        is_on ^= numbers.random() < 0.04
        volts = min(max(volts + numbers.gauss(0, 0.4), 222), 240)
        warmth += numbers.gauss(0, 0.12) + 0.02 * ((52 if is_on else 38) - warmth)
        strength = min(max(strength + numbers.choice((-2, -1, 0, 0, 1, 2)), -85), -40)
        watts = round(max(0.1, lamp_w * numbers.gauss(1, 0.01)), 1) if is_on else 0.0
        energy += watts * STEP_S / 3600
        uptime += STEP_S
        yield {
            "net.rssi_dbm": strength,
            "health.temperature_c": round(warmth, 1),
            "health.uptime_s": uptime,
            "health.free_memory_bytes": 40_960 + 8 * numbers.randrange(-60, 60),
            "health.restarts": 3,
            "meter.1.power_w": watts,
            "meter.1.voltage_v": round(volts, 1),
            "meter.1.current_a": round(watts / volts, 3),
            "meter.1.energy_wh": round(energy, 2),
            "meter.1.power_factor": round(min(1.0, numbers.gauss(0.93, 0.005)), 2) if is_on else 0.0,
        }
