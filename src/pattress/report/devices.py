"""Devices for people: what discovery saw, what one reading gave, what the store knows."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Protocol

from pattress.model.addresses import is_locally_administered
from pattress.model.device import Conflict, Device, Sighting
from pattress.model.finding import shown
from pattress.model.kept import KnownDevice, PointSpan
from pattress.model.reading import Reading, Snapshot
from pattress.model.source import SourceReport
from pattress.model.vocabulary import Value, definition_of
from pattress.report.text import Style, counted
from pattress.report.visible import visible
from pattress.wire.makers import maker_of


class PlacedDevice(Protocol):
    """A device, and the point or other entry of the plan that explains it."""

    @property
    def device(self) -> Device:
        """The device."""

    @property
    def point(self) -> str | None:
        """Its point."""

    @property
    def other(self) -> str | None:
        """The other entry."""


class PlacedKnownDevice(Protocol):
    """A device of the store, and its point."""

    @property
    def device(self) -> KnownDevice:
        """The device."""

    @property
    def point(self) -> str | None:
        """Its point, or the plan's other entry."""


def discovered_text(
    devices: Sequence[PlacedDevice],
    conflicts: Iterable[Conflict],
    sources: Iterable[SourceReport],
    *,
    now: datetime,
    style: Style,
) -> str:
    """Return every device with the evidence for it, then how each source fared."""
    lines: list[str] = []
    for one in devices:
        device = one.device
        place = one.point or one.other or "in no plan"
        lines.append(style.strong(visible(f"{place}: {device.title}")))
        identity = (device.id, _maker(device.mac), device.kind or "no profile knows its kind")
        lines.append(f"  {visible(', '.join(part for part in identity if part))}")
        lines += [f"  {_evidence(sighting, now)}" for sighting in _distinct(device.sightings)]
    for conflict in conflicts:
        claims = " and ".join(conflict.claimants)
        lines.append(style.strong(visible(f"{conflict.identity} is claimed by {claims}"), "broken"))
    lines += ["", style.strong(f"{counted(len(devices), 'device')}. Sources:")]
    lines += [f"  {visible(report.source)}: {report.state}, {visible(report.detail)}" for report in sources]
    return "\n".join(lines) + "\n"


def reading_text(reading: Reading, *, point: str | None) -> str:
    """Return one reading, every value with where it came from."""
    title = f"{point or reading.device} ({reading.kind or 'no profile knows its kind'})"
    if not isinstance(reading, Snapshot):
        return visible(f"{title} could not be read: {reading.reason}.") + "\n"
    lines = [visible(f"{title}, read in {reading.duration_s:.2f} s")]
    width = max((len(name) for name in reading.values), default=0)
    for name in sorted(reading.values):
        definition, reported = definition_of(name), reading.values[name]
        unit = f" {definition.unit}" if definition and definition.unit not in (None, "1") else ""
        lines.append(visible(f"  {name:{width}}  {shown(reported.value)}{unit}  ({reported.origin})"))
    for error in reading.errors:
        lines.append(visible(f"  {error.subject:{width}}  could not be read: {error.reason}"))
    return "\n".join(lines) + "\n"


def devices_text(known: Sequence[PlacedKnownDevice], style: Style) -> str:
    """Return what the store knows of each device, one line each."""
    rows = [("POINT", "DEVICE", "KIND", "ADDRESS", "LAST SEEN", "LAST READ")]
    for one in known:
        device = one.device
        read = "never" if device.last_read is None else _short(device.last_read)
        if device.last_read is not None and device.last_outcome == "unreadable":
            read += " (not the last time)"
        rows.append(
            (one.point or "-", device.id, device.kind or "-", device.address or "-", _short(device.last_seen), read)
        )
    widths = [max(len(visible(row[column])) for row in rows) for column in range(5)]
    lines = []
    for number, row in enumerate(rows):
        cells = [f"{visible(cell):{width}}" for cell, width in zip(row, widths, strict=False)]
        line = "  ".join([*cells, visible(row[5])])
        lines.append(style.strong(line) if number == 0 else line)
    return "\n".join(lines) + "\n"


def history_text(known: PlacedKnownDevice, spans: Sequence[PointSpan]) -> str:
    """Return what each setting of a device was, from when until when; at a point, which device it was where several."""
    lines = [visible(f"{known.point or known.device.id} ({known.device.kind or 'kind unknown'})")]
    width = max((len(span.setting) for span in spans), default=0)
    has_several = len({span.device for span in spans}) > 1
    for span in spans:
        until = "now" if span.until is None else _short(span.until)
        of = f"  ({span.device})" if has_several else ""
        lines.append(visible(f"  {span.setting:{width}}  {_short(span.since)} to {until:16}  {shown(span.value)}{of}"))
    if not spans:
        lines.append("  nothing of it is kept")
    return "\n".join(lines) + "\n"


def comparison_text(
    titles: tuple[str, str], rows: Sequence[tuple[str, Value | None, Value | None]], *, shows_all: bool
) -> str:
    """Return two sides aligned by setting; without `shows_all`, only where they differ."""
    shown_rows = [(name, _side(one), _side(other)) for name, one, other in rows if shows_all or one != other]
    table = [("", *titles), *shown_rows]
    widths = [max(len(visible(row[column])) for row in table) for column in range(2)]
    lines = [visible(f"{name:{widths[0]}}  {one:{widths[1]}}  {other}").rstrip() for name, one, other in table]
    differing = sum(one != other for _, one, other in rows)
    return (
        "\n".join(
            [*lines, f"{differing} of {counted(len(rows), 'setting')} {'differs' if differing == 1 else 'differ'}."]
        )
        + "\n"
    )


def _side(value: Value | None) -> str:
    return "not reported" if value is None else shown(value)


def _distinct(sightings: Iterable[Sighting]) -> list[Sighting]:
    """Return the newest sighting of each kind of evidence."""
    newest = {(one.source, one.channel, one.name, one.address, one.is_gone): one for one in sightings}
    return list(newest.values())


def _evidence(sighting: Sighting, now: datetime) -> str:
    channel = f" ({sighting.channel})" if sighting.channel else ""
    where = f" at {sighting.address}" if sighting.address else ""
    port = f" port {sighting.port}" if sighting.port else ""
    return visible(f"{sighting.source}{channel}: {_claim(sighting)}{where}{port}, {_age(sighting, now)}")


def _claim(sighting: Sighting) -> str:
    if sighting.source == "neighbour":
        return "is a neighbour of this host"
    if sighting.source == "lease":
        return "was given an address" if sighting.name is None else f"was given an address as {sighting.name!r}"
    return f"{'said goodbye' if sighting.is_gone else 'announced'} as {sighting.name!r}"


def _age(sighting: Sighting, now: datetime) -> str:
    if sighting.is_dated:
        return f"{max(0.0, (now - sighting.seen_at).total_seconds()):.0f} s ago"
    if sighting.source == "lease":
        return f"lease expires {sighting.details.get('expires', 'at an unknown time')}"
    return f"of unknown age ({sighting.details.get('state', 'retained')})"


def _maker(mac: str | None) -> str | None:
    """Return what a hardware address itself says of whose it is; None where it says nothing."""
    if mac is None:
        return None
    return "private (locally administered) address" if is_locally_administered(mac) else maker_of(mac)


def _short(moment: datetime) -> str:
    return f"{moment.astimezone():%Y-%m-%d %H:%M}"
