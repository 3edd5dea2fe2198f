"""What devices may have to do with outside: the `[[watch.allow]]` and `[[watch.mud]]` tables of `site.toml`.

What belongs here: reading and checking them. What does not: what a MUD file means, and judging by either.
"""

import json
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NoReturn

from pattress.model.watching import Allowance, MudFile
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import Known
from pattress.site.shapes import Mismatch, Table, unknown_keys
from pattress.site.watch_shapes import PROTOCOLS, AllowanceShape, MudShape
from pattress.site.words import said

MAX_MUD_BYTES = 1_048_576  # an entry of an access list takes about 300 bytes: room for 3,000 of them
_NARROWING = ("to", "name", "ports", "protocol", "point", "kind")
_WITHOUT_PORTS = {PROTOCOLS["icmp"], PROTOCOLS["icmpv6"]}


def allowances_of(file: TomlFile, *, kinds: Known, points: Known) -> Iterator[Allowance]:
    """Yield each allowance of a file that has no faults of its own."""
    for path, table in file.tables("watch", "allow"):
        file.check_one(path, table, ("to", "name"))
        file.check_one(path, table, ("point", "kind"))
        _check_subjects(file, path, table, kinds=kinds, points=points)
        if not any(key in table for key in _NARROWING) and not unknown_keys(AllowanceShape, table):
            expected = f"at least one of {', '.join(_NARROWING[:-1])} and {_NARROWING[-1]}"
            file.fault(path, found="an allowance of everything for every device", expected=expected)
        shape = file.checked(AllowanceShape, path, table)
        if shape is None:
            continue
        if shape.ports and shape.protocol in _WITHOUT_PORTS:
            expected = "no ports with a protocol that has none"
            file.fault((*path, "ports"), found=f"ports with protocol {table['protocol']}", expected=expected)
        yield Allowance(
            reason=shape.reason,
            network=shape.to,
            name=shape.name,
            ports=tuple(shape.ports),
            protocol=shape.protocol,
            point=shape.point,
            kind=shape.kind,
            is_inbound=shape.inbound,
        )


def mud_files_of(file: TomlFile, folder: Path, *, kinds: Known, points: Known) -> Iterator[MudFile]:
    """Yield each MUD file that a file names and that can be read."""
    for path, table in file.tables("watch", "mud"):
        file.check_one(path, table, ("point", "kind"), shape=MudShape)
        _check_subjects(file, path, table, kinds=kinds, points=points)
        shape = file.checked(MudShape, path, table)
        if shape is None:
            continue
        try:
            document = read_mud(shape.file, folder)
        except Mismatch as error:
            file.mismatch((*path, "file"), shape.file, error)
        else:
            yield MudFile(file=shape.file, document=document, point=shape.point, kind=shape.kind)


def read_mud(name: str, folder: Path) -> dict[str, Any]:
    """Return the JSON object in a file that is named relative to a folder.

    Raises:
        Mismatch: With what is wrong.
    """
    expected = "a MUD file: one JSON object of at most 1 MiB, relative to the site's folder"
    try:
        data = _read(folder / name)
    except (OSError, ValueError) as error:  # ValueError: a name that cannot be one, as with a null character
        known = error.strerror if isinstance(error, OSError) else "its name is not one"
        raise Mismatch(
            expected, found=f"{said(name)}, which cannot be read ({(known or 'no reason').lower()})"
        ) from None
    if data is None:
        raise Mismatch(expected, found=f"{said(name)}, which is not a regular file")
    if len(data) > MAX_MUD_BYTES:
        raise Mismatch(expected, found=f"{said(name)}, which has more than {MAX_MUD_BYTES} bytes")
    try:
        document = json.loads(data, parse_constant=_refuse)
    except RecursionError:
        raise Mismatch(expected, found=f"{said(name)}, which is nested too deep") from None
    except ValueError as error:  # also bytes that are not text, and numbers of too many digits
        line = f" in its line {error.lineno}" if isinstance(error, json.JSONDecodeError) else ""
        raise Mismatch(expected, found=f"{said(name)}, which is not JSON{line}") from None
    if not isinstance(document, dict):
        raise Mismatch(expected, found=f"{said(name)}, which holds {said(document)}")
    return document


def _read(path: Path) -> bytes | None:
    if not stat.S_ISREG(path.stat().st_mode):
        return None
    with path.open("rb") as stream:
        return stream.read(MAX_MUD_BYTES + 1)


def _refuse(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is not JSON")


def _check_subjects(file: TomlFile, path: KeyPath, table: Table, *, kinds: Known, points: Known) -> None:
    for key, known, expected in (("kind", kinds, "the id of a profile"), ("point", points, "the name of a point")):
        name = table.get(key)
        if isinstance(name, str) and known.lacks(name):
            file.fault((*path, key), found=said(name), expected=expected, nearest=known.nearest(name))
