"""A module and a person that do as a test says, by a clock that goes on with each reading."""

import asyncio
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pattress.closein.pace import Pace
from pattress.closein.stage import Stage
from pattress.closein.talk import Question, Reply
from pattress.model.addresses import IPNetwork
from pattress.model.circuit import Circuit, Load
from pattress.model.closein import StepResult
from pattress.model.device import Device
from pattress.model.plan import Plan, Point
from pattress.model.profile import Profile
from pattress.model.reading import Reading, Reported, Snapshot, Unreadable
from pattress.model.rules import Policy
from pattress.model.site import Networks, Site
from pattress.model.vocabulary import Value

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
READING_S = 0.25  # how long a reading takes by the scripted clock
MAC = "02:00:5e:00:53:07"
DEVICE = Device(
    id=f"mac:{MAC}", mac=MAC, serial=None, name="lamp", kind="twin", addresses=(("192.0.2.7", 80),), sightings=()
)
PROFILE = Profile(
    id="twin", maker="Brackenvolt", model="Twin", module_class="dual-relay",
    channels={"input": 2, "output": 2, "meter": 2},
)  # fmt: skip
LOADS = (
    Load(channel="output.1", kind="led-lamp", name="downlights", power_w=10, count=6),
    Load(channel="output.2", kind="motor", name="fan", power_w=25, hazard="moves"),
)
POINT = Point(
    name="hall-lights", room="Hall", kind="twin", mac=MAC, circuit=Circuit(voltage_v=230, ambient_c=30, loads=LOADS),
    settings={"input.1.contact": "momentary", "input.2.contact": "maintained", "output.1.at_power_up": "off"},
)  # fmt: skip
AT_REST: Mapping[str, Value] = {
    "input.1.closed": False, "input.2.closed": False, "output.1.on": False, "output.2.on": False,
    "meter.1.power_w": 0.0, "meter.2.power_w": 0.0, "net.rssi_dbm": -58, "health.temperature_c": 31.0,
    "health.uptime_s": 5_000, "output.1.over_temperature.limit_c": 85, "output.2.over_temperature.limit_c": 85,
    "output.1.at_power_up": "off", "output.2.at_power_up": "as-before",
}  # fmt: skip

Act = Callable[["Scripted"], Reply | None]


class Scripted:
    """The module, the clock, and the person in one: what the person does changes the module after so many seconds."""

    def __init__(self, **values: Value) -> None:
        self.values: dict[str, Value] = {**AT_REST, **values}
        self.now = NOON
        self.is_there = True
        self.said: list[str] = []
        self.asked: list[str] = []
        self.cautions: list[str] = []
        self.heeds = True
        self.replies: list[tuple[str, Reply | Act]] = []
        self.wording = ""
        self.results: list[StepResult] = []
        self.each_reading: Act | None = None
        self._due: list[tuple[datetime, Callable[[], None]]] = []

    def when(self, words: str, does: "Reply | Act") -> "Scripted":
        """Let the person reply, or do something and reply or not, when they are asked something with these words."""
        self.replies.append((words, does))
        return self

    def after(self, seconds: float, **values: Value) -> None:
        """Change values after some seconds."""
        self._due.append((self.now + timedelta(seconds=seconds), lambda: self.values.update(values)))

    def gone(self, after_s: float, for_s: float, **values: Value) -> None:
        """Take the module away for some seconds; when it is back, values are changed."""

        def leave() -> None:
            self.is_there = False

        def come() -> None:
            self.is_there = True
            self.values.update(values)

        self._due += [
            (self.now + timedelta(seconds=after_s), leave),
            (self.now + timedelta(seconds=after_s + for_s), come),
        ]

    def clock(self) -> datetime:
        """Return the time by the script."""
        return self.now

    async def read_device(self, device: Device, point: Point | None) -> Reading:
        """Return what the module says, a quarter of a second later."""
        self.now += timedelta(seconds=READING_S)
        for due in [one for one in self._due if one[0] <= self.now]:
            self._due.remove(due)
            due[1]()
        if self.each_reading is not None:
            self.each_reading(self)
        if not self.is_there:
            return Unreadable(device=device.id, kind="twin", taken_at=self.now, reason="no answer within 5 s")
        values = {name: Reported(value=value, origin="test") for name, value in self.values.items()}
        return Snapshot(device=device.id, kind="twin", taken_at=self.now, duration_s=0.1, values=values)

    def begin(self, point: str, title: str) -> None:
        """Take note that a step begins."""
        self.said.append(title)

    def say(self, text: str) -> None:
        """Take note of what is said."""
        self.said.append(text)

    def result(self, point: str, result: StepResult) -> None:
        """Take note of how a step ended."""
        self.results.append(result)

    async def ask(self, question: Question) -> Reply:
        """Do as the script says; without a word of it there, wait for ever."""
        self.asked.append(question.text)
        for number, (words, does) in enumerate(self.replies):
            if words in question.text:
                del self.replies[number]
                if callable(does):
                    reply = does(self)
                    if reply is not None:
                        return reply
                    break
                assert does in question.replies, (does, question)
                return does
        await asyncio.Event().wait()
        raise AssertionError("unreachable")

    async def confirm(self, caution: str) -> bool:
        """Heed it, or not."""
        self.cautions.append(caution)
        return self.heeds

    async def words(self, prompt: str) -> str:
        """Write what the script says."""
        self.asked.append(prompt)
        return self.wording


def stage(script: Scripted, *, point: Point = POINT, profile: Profile = PROFILE, **pace: float) -> Stage:
    """A stage on which the script plays."""
    networks: tuple[IPNetwork, ...] = ()
    site = Site(
        name="Larkspur Mill", folder=Path(), networks=Networks(devices=networks, inside=networks),
        plan=Plan(points=(point,)), policy=Policy(id="p", title="P", rules=(), digest="0" * 64), profiles=(profile,),
    )  # fmt: skip
    return Stage(
        site=site, point=point, profile=profile, talk=script, clock=script.clock,
        pace=Pace(**{"poll_s": 0.0, "radio_apart_s": 0.0, "heat_apart_s": 0.0, **pace}),  # type: ignore[arg-type]
        read_device=script.read_device, device=DEVICE,
    )  # fmt: skip
