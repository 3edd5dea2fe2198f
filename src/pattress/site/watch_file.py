"""The `[watch]` table of `site.toml` into `Watching`: where to listen, and the sources of evidence.

What belongs here: the table itself and its sources, and what they need of one another. What does not: what is allowed
(`watch_allowances`), and whether a source has anything to say.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pattress.model.addresses import normal_address, parse_address
from pattress.model.watching import Listening, Watching, WatchSource
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import Known
from pattress.site.shapes import Table, unknown_keys
from pattress.site.watch_allowances import allowances_of, mud_files_of
from pattress.site.watch_shapes import MAX_PREFIX_LENGTH, SourceShape, WatchShape
from pattress.site.words import said

_WAYS = ("from", "file", "journal")


def watching_of(file: TomlFile, folder: Path, *, kinds: Known, points: Known) -> Watching:
    """Return what the file says of watching, whole where it has no faults."""
    found = file.table("watch")
    shape = file.checked(WatchShape, *found) if found else None
    if found and shape and shape.flows_at is not None and shape.flows_at == shape.syslog_at:
        expected = "another host or port than flows_at: both come in by UDP"
        file.fault(("watch", "syslog_at"), found=said(found[1]["syslog_at"]), expected=expected)
    return Watching(
        listening=Listening(flows=shape.flows_at, syslog=shape.syslog_at) if shape else Listening(),
        sources=tuple(_sources(file, folder)),
        allowances=tuple(allowances_of(file, kinds=kinds, points=points)),
        mud_files=tuple(mud_files_of(file, folder, kinds=kinds, points=points)),
        tells_tried_at_once=shape is not None and shape.tried == "at once",
    )


def _sources(file: TomlFile, folder: Path) -> Iterator[WatchSource]:
    names: dict[str, KeyPath] = {}
    ways: dict[str, KeyPath] = {}
    tables: KeyPath | None = None
    for path, table in file.tables("watch", "source"):
        file.check_unique(names, (*path, "name"), table.get("name"), expected="a name that no other source has")
        _check_kind(file, path, table)
        _check_shared_ways(file, ways, path, table)
        if table.get("kind") == "connections":
            if tables is not None:
                found = f"another source of kind connections (first in line {file.lines.line_of(tables)})"
                file.fault((*path, "kind"), found=found, expected="at most one: a host has one connection table")
            tables = tables or (*path, "kind")
        shape = file.checked(SourceShape, path, table)
        if shape is not None:
            yield _source(shape, folder)


def _source(shape: SourceShape, folder: Path) -> WatchSource:
    """Its log file is not looked for here: a program that writes one may begin later."""
    senders = (parse_address(address) for address in dict.fromkeys(shape.senders))
    return WatchSource(
        name=shape.name,
        kind=shape.kind,
        senders=tuple(sender for sender in senders if sender is not None),
        file=None if shape.file is None else folder / shape.file,
        journal=shape.journal,
        verdicts=dict(shape.prefix),
        pattern=shape.pattern,
        is_after_filter=shape.sees == "after-filter",
        silent_after_s=shape.silent_after_s,
    )


def _check_kind(file: TomlFile, path: KeyPath, table: Table) -> None:
    """Note a fault for each key that the kind needs and has not, or has and must not."""
    match table.get("kind"):
        case "flows":
            _check_without(
                file, path, table, ("file", "journal"), "flows come over the network from the addresses in from"
            )
            _check_with(file, path, table, "from", "the addresses that flow export is sent from")
            _check_listening(file, path, table, "flows_at", "where flow export comes in")
        case "firewall" | "names":
            file.check_one(path, table, _WAYS, shape=SourceShape)
            _check_listening(file, path, table, "syslog_at", "where log lines come in")
        case "connections":
            _check_without(file, path, table, _WAYS, "connections are this host's own")
    _check_own(file, path, table, "sees", "flows")
    _check_own(file, path, table, "pattern", "names")
    _check_own(file, path, table, "prefix", "firewall")
    if table.get("kind") == "firewall":
        _check_with(
            file, path, table, "prefix", 'what the prefixes of log rules say, such as { "iot-drop" = "dropped" }'
        )
        _check_prefixes(file, path, table.get("prefix"))


def _check_own(file: TomlFile, path: KeyPath, table: Table, key: str, kind: str) -> None:
    if key in table and table.get("kind") in ("flows", "firewall", "names", "connections") and table["kind"] != kind:
        found = f"{key} with kind {table['kind']}"
        file.fault((*path, key), found=found, expected=f"{key} only with kind {kind}")


def _check_with(file: TomlFile, path: KeyPath, table: Table, key: str, expected: str) -> None:
    if key not in table and not unknown_keys(SourceShape, table):
        file.fault((*path, key), found="nothing", expected=expected)


def _check_without(file: TomlFile, path: KeyPath, table: Table, keys: tuple[str, ...], reason: str) -> None:
    for key in keys:
        if key in table:
            file.fault((*path, key), found=f"{key} with kind {table['kind']}", expected=f"no {key}: {reason}")


def _check_listening(file: TomlFile, path: KeyPath, table: Table, key: str, meaning: str) -> None:
    """Note a fault where a source sends to a place that is not there. One that is misspelt has its own fault."""
    _, watch = file.table("watch") or ((), {})
    if "from" in table and key not in watch and not unknown_keys(WatchShape, watch):
        file.fault((*path, "from"), found=f"from without {key}", expected=f"{key} in [watch] beside it: {meaning}")


def _check_prefixes(file: TomlFile, path: KeyPath, prefixes: object) -> None:
    for prefix in prefixes if isinstance(prefixes, dict) else ():
        at = (*path, "prefix", prefix)
        if not prefix.strip():
            expected = "the text that a log rule writes in front"
            file.fault(at, found=f"{said(prefix)} for a prefix", expected=expected, place=(*path, "prefix"))
        elif len(prefix) > MAX_PREFIX_LENGTH:
            expected = f"a prefix of at most {MAX_PREFIX_LENGTH} characters, as the kernel writes them"
            file.fault(at, found=f"a prefix of {len(prefix)} characters", expected=expected, place=(*path, "prefix"))


def _check_shared_ways(file: TomlFile, first: dict[str, KeyPath], path: KeyPath, table: Table) -> None:
    """Note a fault for each sender, file or journal that another source of the same kind has: it would count twice."""
    kind = table.get("kind")
    own: set[str] = set()
    for at, value in _ways(path, table):
        key = f"{kind} {at[len(path)]} {value}"
        if key in first and key not in own:
            found = f"{said(value)} again (first in line {file.lines.line_of(first[key])})"
            what = "an address" if at[len(path)] == "from" else f"a {at[len(path)]}"
            file.fault(at, found=found, expected=f"{what} that no other source of kind {kind} has")
        first.setdefault(key, at)
        own.add(key)


def _ways(path: KeyPath, table: dict[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    senders = table.get("from")
    for number, sender in enumerate(senders if isinstance(senders, list) else ()):
        if isinstance(sender, str):
            yield (*path, "from", number), normal_address(sender) or sender
    for key in ("file", "journal"):
        if isinstance(table.get(key), str):
            yield (*path, key), table[key]
