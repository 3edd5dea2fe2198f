"""Rules of the trade about the plan itself: power cuts, switches that only report, a light by the door.

What belongs here: what one point's plan owes to people and to other points. What does not: numbers of a circuit.
"""

from collections.abc import Iterator

from pattress.model.circuit import Drive, Hazard, Load
from pattress.model.finding import Finding, Outcome, Subject, shown
from pattress.model.plan import Plan, Point
from pattress.model.profile import Profile
from pattress.model.reading import Reading, Snapshot
from pattress.policy.fit_case import LAMPS, Fit, silent, title_of
from pattress.policy.fit_rules import HAZARD_STAYS_OFF, ROOM_KEEPS_LIGHT, SWITCH_HAS_RELAY

_DOES: dict[Hazard, str] = {"heats": "heats", "pumps": "pumps", "moves": "moves something"}


def hazard_fits(point: Point, profile: Profile) -> Iterator[Fit]:
    """Yield, for each output that feeds what must not come on by itself, whether it is planned to stay off."""
    for output, what in _hazards(point, profile):
        name = f"output.{output}.at_power_up"
        planned = point.settings.get(name)
        if planned is None:
            yield silent(HAZARD_STAYS_OFF, f"{what}, and the plan does not say {name}", channel=f"output.{output}")
            continue
        is_off = planned == "off"
        sentence = f"{what}, and {name} is planned {shown(planned)}"
        yield Fit(
            rule=HAZARD_STAYS_OFF,
            outcome="met" if is_off else "broken",
            sentence=sentence,
            channel=f"output.{output}",
        )


def hazard_findings(point: Point, profile: Profile, subject: Subject, reading: Reading | None) -> Iterator[Finding]:
    """Yield, for each output that feeds what must not come on by itself, whether the module says that it stays off."""
    for output, what in _hazards(point, profile):
        name = f"output.{output}.at_power_up"
        expected = f'"off": {what}'
        if not isinstance(reading, Snapshot):
            why = "it was not asked" if reading is None else reading.reason
            yield Finding(HAZARD_STAYS_OFF, subject, name, "unverified", expected, remark=why)
            continue
        reported = reading.values.get(name)
        if reported is None:
            why = "the device does not report it"
            yield Finding(HAZARD_STAYS_OFF, subject, name, "unverified", expected, remark=why)
            continue
        outcome: Outcome = "met" if reported.value == "off" else "broken"
        yield Finding(HAZARD_STAYS_OFF, subject, name, outcome, expected, reported.value, origin=reported.origin)


def switch_fits(point: Point, plan: Plan) -> Iterator[Fit]:
    """Yield, for each input that only reports, whether what it is to drive is wired through an output of the plan."""
    points = {one.name: one for one in plan.points}
    numbers = {int(name.split(".")[1]) for name in _reporting(point)} | {drive.input for drive in point.drives}
    for number in sorted(numbers):
        action = point.settings.get(f"input.{number}.action")
        drives = [drive for drive in point.drives if drive.input == number]
        if action not in (None, "reports"):
            continue  # it acts by itself, inside its module
        channel = f"input.{number}"
        if not drives:
            why = f"{channel} only reports, and the plan does not say what it drives: see [[point.drive]]"
            yield silent(SWITCH_HAS_RELAY, why, channel=channel)
        for drive in drives:
            yield _driven(point, drive, points, f"{channel} only reports and" if action == "reports" else channel)


def room_fits(point: Point, plan: Plan) -> Iterator[Fit]:
    """Yield whether a wall switch switches a light of the point's room; once for a room, at its first point with lamps.

    An input counts as the switch of its module's output by its action, or of any channel that a drive names.
    """
    lit = [one for one in plan.points if one.room == point.room and _lamps(one)]
    if not lit or lit[0].name != point.name:
        return
    outlets = [(one, load) for one in lit for load in _lamps(one) if load.is_lighting_outlet]
    if not outlets:
        names = ", ".join(one.name for one in lit)
        yield silent(ROOM_KEEPS_LIGHT, f"the plan marks none of the lamps of {names} as lighting_outlet")
        return
    switches = [(one, load, switch) for one, load in outlets if (switch := _switch_of(one, load, plan))]
    if switches:
        one, load, switch = switches[0]
        yield Fit(
            rule=ROOM_KEEPS_LIGHT,
            outcome="met",
            sentence=f"{point.room}: {title_of(load)} of {one.name} is switched by {switch}",
        )
        return
    one, load = outlets[0]
    unsaid = [name for name in _own_inputs(one, load.channel) if name not in one.settings]
    if unsaid:
        yield silent(ROOM_KEEPS_LIGHT, f"the plan of {one.name} does not say {unsaid[0]}")
        return
    lights = ", ".join(f"{title_of(load)} of {one.name}" for one, load in outlets)
    yield Fit(rule=ROOM_KEEPS_LIGHT, outcome="broken", sentence=f"{point.room}: no input of the plan switches {lights}")


def _hazards(point: Point, profile: Profile) -> Iterator[tuple[int, str]]:
    """Each output that feeds a hazard, and what it does. A shutter's motor hangs on both outputs."""
    found: dict[int, str] = {}
    for load in point.circuit.loads if point.circuit is not None else ():
        if load.hazard is None:
            continue
        number = load.channel.partition(".")[2]
        outputs = [int(number)] if number else range(1, profile.channels.get("output", 0) + 1)
        for output in outputs:
            found.setdefault(output, f"{title_of(load)} {_DOES[load.hazard]}")
    yield from sorted(found.items())


def _reporting(point: Point) -> list[str]:
    """The names of the actions of inputs that only report."""
    return [
        name
        for name, value in point.settings.items()
        if name.startswith("input.") and name.endswith(".action") and value == "reports"
    ]


def _driven(point: Point, drive: Drive, points: dict[str, Point], who: str) -> Fit:
    target = points.get(drive.point) if drive.point is not None else point
    where = f"{drive.channel} of {drive.point}" if drive.point is not None else drive.channel
    channel, says = f"input.{drive.input}", f"{who} is to drive {where}"
    if target is None or target.circuit is None:
        return silent(SWITCH_HAS_RELAY, f"{says}, whose circuit the plan does not say", channel=channel)
    loads = [load for load in target.circuit.loads if load.channel == drive.channel]
    if not loads:
        sentence = f"{says}, and nothing is wired through it"
        return Fit(rule=SWITCH_HAS_RELAY, outcome="broken", sentence=sentence, channel=channel)
    fed = " and ".join(title_of(load) for load in loads)
    sentence = f"{says}, which feeds {fed}"
    return Fit(rule=SWITCH_HAS_RELAY, outcome="met", sentence=sentence, channel=channel)


def _lamps(point: Point) -> list[Load]:
    loads = point.circuit.loads if point.circuit is not None else ()
    return [load for load in loads if load.kind in LAMPS]


def _switch_of(point: Point, load: Load, plan: Plan) -> str | None:
    """The input that switches a load: one of its own module that acts, or one that a drive names."""
    for name in _own_inputs(point, load.channel):
        action = point.settings.get(name)
        if action not in (None, "reports"):
            return f"{name.removesuffix('.action')} ({action})"
    for one in plan.points:
        for drive in one.drives:
            target = one.name if drive.point is None else drive.point
            if target == point.name and drive.channel == load.channel:
                return f"input.{drive.input}" + (f" of {one.name}" if one is not point else "") + " through the network"
    return None


def _own_inputs(point: Point, channel: str) -> list[str]:
    """The actions of the inputs that may act on a channel: of the same number at a relay, else any of the module's."""
    group, _, number = channel.partition(".")
    if group == "output":
        return [f"input.{number}.action"]
    named = [name for name in sorted(point.settings) if name.startswith("input.") and name.endswith(".action")]
    return named or ["input.1.action"]
