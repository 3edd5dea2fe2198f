"""Encounters with the outside for people: one message, the message of the day, and the list.

What belongs here: the words. What does not: what is told when (`alert`), and judging.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime

from pattress.model.encounter import Alert, Encounter, Hearing, Told, ToldKind
from pattress.policy.outside import port_words
from pattress.report.document import time_text
from pattress.report.text import Style, counted
from pattress.report.visible import visible

NOTHING_HEARD = "No source was heard, so this says nothing of what went on."
TitleOf = Callable[[str], str]
"""What to call a device, by its id."""

_HEADS: dict[ToldKind, str] = {
    "reached": "REACHED the outside",
    "approached": "was APPROACHED from outside",
    "tried": "tried to get outside",
    "asked": "asked for a name outside",
    "unlike-before": "is unlike before",
}
_PORT_HINTS = {
    53: "its resolver (`net.dns`): it should be the site's own",
    123: "its time server (`time.server`): it should be the site's own",
    443: "its cloud and its updates of firmware (`cloud.enabled`, `firmware.updates`)",
    853: "its resolver (`net.dns`): it asks one outside, by TLS",
    1883: "its broker (`mqtt.host`): it should be the site's own",
    8883: "its broker (`mqtt.host`): it should be the site's own",
}


def alert_text(alert: Alert, title: str, *, says_off: bool = False, style: Style) -> str:
    """Return one message. `title` is what to call the device, `says_off` whether it reports that its cloud is off."""
    told, encounter = alert.told, alert.encounter
    head = f"{visible(title)} {_HEADS[told.kind]}"
    lines = [
        style.strong(f"{_clock(told.last_at)} {head}", "broken" if told.kind in ("reached", "approached") else None)
    ]
    if alert.sentence is not None:
        lines += style.wrapped(f"{alert.sentence}.", indent=2, hanging=4)
    if encounter is not None:
        lines += style.wrapped(" ".join(_what(encounter)), indent=2, hanging=4)
        if says_off and told.kind in ("tried", "reached"):
            lines += style.wrapped(
                "It reports that its cloud is off: that setting does not tell the truth.", indent=2, hanging=4
            )
    lines += style.wrapped("Look first:", indent=2, hanging=4)
    for number, hint in enumerate(_hints(told.kind, encounter), 1):
        lines += style.wrapped(f"{number}. {hint}.", indent=4, hanging=6)
    return "\n".join(lines) + "\n"


def daily_text(due: Sequence[tuple[Told, str]], style: Style) -> str:
    """Return what has come since it was last told, each with what to call its device, gathered by that."""
    lines = [style.strong(f"SINCE THE LAST MESSAGE: {counted(len(due), 'kind')} of encounters")]
    shown = None
    for one, title in due:
        if title != shown:
            shown = title
            lines.append(f"  {visible(title)}")
        new = one.count - one.told_count
        much = f", {one.octets} octets" if one.octets else ""
        lines += style.wrapped(
            f"{_HEADS[one.kind]}: {one.place}, {_times(new)}{much}, first {_clock(one.first_at)}, "
            f"last {_clock(one.last_at)}", indent=4, hanging=6,
        )  # fmt: skip
    return "\n".join(lines) + "\n"


def encounters_text(encounters: Sequence[Encounter], title_of: TitleOf, style: Style) -> str:
    """Return encounters, one line for each hour, device, remote and port, in time order."""
    if not encounters:
        return "No encounter with the outside is on record.\n"
    lines = []
    for one in encounters:
        name = f" ({one.name})" if one.name is not None and one.name != one.remote else ""
        port = port_words(one)
        lines.append(
            visible(
                f"{_clock(one.first_at)}  {one.kind:10}  {title_of(one.device)}  {one.remote}{name}"
                f"{f', {port}' if port else ''}, {_times(one.count)}{_much(one)}, {' and '.join(one.sources)}"
                f"{f' [{one.remark}]' if one.remark else ''}"
            )
        )
    return "\n".join([*lines, style.strong(f"{len(encounters)} in all")]) + "\n"


def hearings_text(hearings: Iterable[Hearing], style: Style) -> str:
    """Return how well each source was heard, in all; where none was, that this says nothing."""
    by_source: dict[str, list[Hearing]] = {}
    for one in hearings:
        by_source.setdefault(one.source, []).append(one)
    lines = []
    for source, ones in sorted(by_source.items()):
        silent = sum(one.heard == 0 for one in ones)
        counts = [("heard", sum(one.heard for one in ones)), ("lost", sum(one.lost for one in ones)),
                  ("refused", sum(one.refused for one in ones)), ("of no device", sum(one.unmatched for one in ones)),
                  ("hour silent" if silent == 1 else "hours silent", silent)]  # fmt: skip
        lines += style.wrapped(
            f"{source}: {', '.join(f'{count} {what}' for what, count in counts if count)}", indent=2, hanging=4
        )
    if not any(one.heard for ones in by_source.values() for one in ones):
        lines.append(NOTHING_HEARD)
    return "\n".join(lines) + "\n"


def encounters_document(
    encounters: Iterable[Encounter], hearings: Iterable[Hearing], title_of: TitleOf
) -> dict[str, object]:
    """Return encounters, and how the sources were heard, as `pattress.encounters/1`."""
    return {
        "schema": "pattress.encounters/1",
        "encounters": [
            {
                "kind": one.kind,
                "device": one.device,
                "title": title_of(one.device),
                "remote": one.remote,
                "name": one.name,
                "protocol": one.protocol,
                "port": one.port,
                "first_at": time_text(one.first_at),
                "last_at": time_text(one.last_at),
                "count": one.count,
                "packets_out": one.packets_out,
                "octets_out": one.octets_out,
                "packets_in": one.packets_in,
                "octets_in": one.octets_in,
                "sources": list(one.sources),
                "remark": one.remark,
            }
            for one in encounters
        ],
        "sources": [
            {
                "source": one.source,
                "hour": time_text(one.hour),
                "listened_s": one.listened_s,
                "listened_from": None if one.listened_from is None else time_text(one.listened_from),
                "listened_until": None if one.listened_until is None else time_text(one.listened_until),
                "heard_at": None if one.heard_at is None else time_text(one.heard_at),
                "heard": one.heard,
                "lost": one.lost,
                "refused": one.refused,
                "unmatched": one.unmatched,
            }
            for one in hearings
        ],
    }


def _what(encounter: Encounter) -> Iterator[str]:
    """What it did, whether anything came back, how much, since when, who saw it."""
    name = f" ({encounter.name})" if encounter.name is not None and encounter.name != encounter.remote else ""
    port = port_words(encounter)
    yield f"{encounter.remote}{name}{f', {port}' if port else ''}."
    match encounter.kind:
        case "reached":
            yield f"Traffic went both ways, or was let through{_much(encounter)}."
        case "tried":
            yield f"Nothing came back{_much(encounter)}."
        case "approached":
            yield f"It came from outside, and the device did not answer{_much(encounter)}."
        case "asked":
            yield "A name was asked for; whether anything followed this source cannot tell."
    if encounter.remark:
        yield f"{encounter.remark[0].upper()}{encounter.remark[1:]}."
    yield f"Since {_clock(encounter.first_at)}, {_times(encounter.count)}; seen by {' and '.join(encounter.sources)}."


def _hints(kind: ToldKind, encounter: Encounter | None) -> Iterator[str]:
    """The two or three things to look at first."""
    port = encounter.port if encounter is not None else None
    setting = _PORT_HINTS.get(
        port or 0, "its settings: `pattress audit` tells what has changed since it was signed off"
    )
    match kind:
        case "reached":
            yield "the packet filter of the router: which rule lets the device network out, and since when"
            yield setting
            yield "if it may be so, an entry `[[watch.allow]]` in site.toml"
        case "approached":
            yield "the router: port forwardings, and the rules for IPv6 that come in from outside"
            yield "what listens on the device: `access.remote_debug`, open services"
        case "tried" | "asked":
            yield setting
            yield "if it may be so, an entry `[[watch.allow]]` in site.toml"
        case "unlike-before":
            yield "what was changed on the device: firmware first (`pattress history`)"
            yield "whether anybody uses it as a way in; take it off the network if nobody can say"


def _much(encounter: Encounter) -> str:
    if not (encounter.packets_out or encounter.packets_in or encounter.octets_out or encounter.octets_in):
        return ""
    return (
        f": {counted(encounter.packets_out, 'packet')} ({encounter.octets_out} octets) out, "
        f"{counted(encounter.packets_in, 'packet')} ({encounter.octets_in} octets) in"
    )


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _clock(moment: datetime) -> str:
    return f"{moment.astimezone():%Y-%m-%d %H:%M:%S}"
