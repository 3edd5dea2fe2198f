"""`points.toml` into a `Plan`: the points, their planned settings, and the other devices that may be there.

What a point's module is wired into is read by `circuit_file`.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Annotated

from pydantic import AfterValidator, Field

from pattress.model.addresses import IPNetwork, is_inside, normal_mac, parse_address
from pattress.model.article import with_article
from pattress.model.plan import OtherDevice, Plan, Point
from pattress.model.profile import Profile
from pattress.model.vocabulary import Value, channel_of
from pattress.site.circuit_file import Neighbours, circuit_of, drives_of
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import UNKNOWN, Known, known_names
from pattress.site.setting_names import check_channel, known_definition, legal_value, suggestion
from pattress.site.shapes import Address, HardwareAddress, Mismatch, Name, Shape, Table, Text, is_name
from pattress.site.words import said

_IDENTITIES = ("mac", "serial", "announced")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What a plan stands on. `networks` are the device networks, empty where the site file could not tell them."""

    kinds: Known
    profiles: Mapping[str, Profile] = field(default_factory=dict)
    networks: tuple[IPNetwork, ...] = ()


def plan_of(file: TomlFile, ground: Ground) -> Plan:
    """Return the plan that a file describes, whole where the file has no faults."""
    if not file.is_readable:
        return Plan()
    file.checked(PointsShape, (), file.data)
    _check_unique(file)
    return Plan(points=tuple(_points(file, ground)), others=tuple(_others(file)))


def point_names(file: TomlFile) -> Known:
    """Return the names of the points in a file, as far as they can be made out where it has faults."""
    names = [table.get("name") for _, table in file.tables("point")]
    return known_names(names, is_name) if file.is_readable else UNKNOWN


def _fingerprint(value: str) -> str:
    digits = value.replace(":", "").lower()
    if not re.fullmatch("[0-9a-f]{64}", digits):
        raise Mismatch("the SHA-256 of a certificate as 64 hexadecimal digits")
    return digits


class PointsShape(Shape):
    """The top of the points file."""

    point: list[Table] = Field(default=[], description="[[point]] tables")
    other: list[Table] = Field(default=[], description="[[other]] tables")


class PointShape(Shape):
    """One `[[point]]` table."""

    name: Name = Field(description="a name that no other point has")
    room: Text = Field(description="the room as text")
    kind: str = Field(description="the id of a profile")
    mac: HardwareAddress | None = None
    serial: Text | None = None
    announced: Text | None = None
    address: Address | None = None
    certificate_sha256: Annotated[str, AfterValidator(_fingerprint)] | None = None
    remark: Text | None = None
    plan: Table = Field(default={}, description="a table of settings and planned values")
    circuit: Table | None = Field(default=None, description="a [point.circuit] table")
    load: list[Table] = Field(default=[], description="[[point.load]] tables")
    box: Table | None = Field(default=None, description="a [point.box] table")
    drive: list[Table] = Field(default=[], description="[[point.drive]] tables")


class OtherShape(Shape):
    """One `[[other]]` table."""

    name: Name = Field(description="a name that no other entry has")
    reason: Text = Field(description="why this device may be there")
    mac: HardwareAddress | None = None
    serial: Text | None = None
    announced: Text | None = None


def _check_unique(file: TomlFile) -> None:
    first: dict[str, dict[str, KeyPath]] = {key: {} for key in ("name", *_IDENTITIES)}
    for path, table in (*file.tables("point"), *file.tables("other")):
        for key, seen in first.items():
            value = table.get(key)
            if key == "mac" and isinstance(value, str):
                value = normal_mac(value)
            what = "hardware address" if key == "mac" else "announced name" if key == "announced" else key
            expected = f"{with_article(what)} that no other entry has"
            file.check_unique(seen, (*path, key), value, expected=expected)


def _points(file: TomlFile, ground: Ground) -> Iterator[Point]:
    neighbours = _neighbours(file, ground)
    for path, table in file.tables("point"):
        kind = table.get("kind")
        if isinstance(kind, str) and ground.kinds.lacks(kind):
            expected, close = "the id of a profile", ground.kinds.nearest(kind)
            file.fault((*path, "kind"), found=said(kind), expected=expected, nearest=close)
        file.check_one(path, table, _IDENTITIES)
        profile = ground.profiles.get(kind) if isinstance(kind, str) else None
        settings = _planned(file, (*path, "plan"), table.get("plan"), profile)
        circuit = circuit_of(file, path, table, profile)
        drives = tuple(drives_of(file, path, table, profile, neighbours))
        shape = file.checked(PointShape, path, table)
        if shape is None:
            continue
        _check_address(file, (*path, "address"), shape.address, ground.networks)
        yield Point(
            name=shape.name,
            room=shape.room,
            kind=shape.kind,
            mac=shape.mac,
            serial=shape.serial,
            announced=shape.announced,
            address=shape.address,
            settings=settings,
            certificate_sha256=shape.certificate_sha256,
            remark=shape.remark,
            circuit=circuit,
            drives=drives,
        )


def _neighbours(file: TomlFile, ground: Ground) -> Neighbours:
    profiles = {}
    for _, table in file.tables("point"):
        name, kind = table.get("name"), table.get("kind")
        if isinstance(name, str) and isinstance(kind, str) and kind in ground.profiles:
            profiles[name] = ground.profiles[kind]
    return Neighbours(points=point_names(file), profiles=profiles)


def _others(file: TomlFile) -> Iterator[OtherDevice]:
    for path, table in file.tables("other"):
        file.check_one(path, table, _IDENTITIES, shape=OtherShape)
        shape = file.checked(OtherShape, path, table)
        if shape is not None:
            yield OtherDevice(
                name=shape.name,
                reason=shape.reason,
                mac=shape.mac,
                serial=shape.serial,
                announced=shape.announced,
            )


def _check_address(file: TomlFile, path: KeyPath, address: str | None, networks: tuple[IPNetwork, ...]) -> None:
    parsed = None if address is None else parse_address(address)
    if parsed is not None and networks and not is_inside(parsed, networks):
        expected = "an address in a device network of the site (" + ", ".join(map(str, networks)) + ")"
        file.fault(path, found=said(address), expected=expected)


def _planned(file: TomlFile, path: KeyPath, written: object, profile: Profile | None) -> dict[str, Value]:
    settings: dict[str, Value] = {}
    first: dict[str, KeyPath] = {}
    for at, value in _leaves(path, written):
        name = ".".join(str(step) for step in at[len(path) :])
        place = (*path, name)
        file.check_unique(first, at, name, expected="each setting once", place=place)
        definition = known_definition(name)
        if definition is None:
            close = suggestion(name)
            file.fault(at, found="an unknown name", expected="the name of a setting", nearest=close, place=place)
        elif definition.is_per_channel and channel_of(name) is None:
            file.fault(at, found="* for a channel", expected="the number of one channel", place=place)
        elif profile is None or check_channel(file, at, name, profile.channels, place=place):
            try:
                settings[name] = legal_value(definition, value)
            except Mismatch as error:
                file.mismatch(at, value, error, place=place)
    return settings


def _leaves(path: KeyPath, written: object) -> Iterator[tuple[KeyPath, object]]:
    """Each value below a table with its path: `input.1.action` is written as tables in tables."""
    if not isinstance(written, dict):
        return
    for key, value in written.items():
        if isinstance(value, dict):
            yield from _leaves((*path, key), value)
        else:
            yield (*path, key), value
