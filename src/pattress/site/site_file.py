"""`site.toml` into networks, brokers, credentials and limits.

What belongs here: what that one file says. What does not: its `[watch]` table (`watch_file`), the other files of a
site, and what it takes of them (`load`); only whether the kinds and points that credentials name exist is checked here,
once they are known.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from pattress.model.addresses import IPNetwork
from pattress.model.site import Broker, Credential, Discovery, Limits, Networks, Secret
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import Known
from pattress.site.secret_files import certificate_file, read_secret
from pattress.site.shapes import Host, Mismatch, Name, PageAddress, Shape, SiteNetwork, Table, Text, unknown_keys
from pattress.site.words import said


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFile:
    """What `site.toml` says. `name` and `networks` are None only where it has faults.

    The store is named relative to the site's folder; files of certificates are given with it.
    """

    name: str | None
    networks: Networks | None
    store_file: Path
    limits: Limits
    uses_mdns: bool
    discovery: Discovery
    device_ca_file: Path | None
    brokers: tuple[Broker, ...]
    credentials: tuple[Credential, ...]
    page_url: str | None


def site_file_of(file: TomlFile, *, folder: Path, credentials_folder: Path | None) -> SiteFile | None:
    """Return what the file says, whole where it has no faults; None where it cannot be read."""
    if not file.is_readable:
        return None
    files = _NamedFiles(file, folder, credentials_folder)
    shape = file.checked(SiteShape, (), file.data)
    discovery = file.checked(DiscoveryShape, ("discovery",), file.data.get("discovery", {})) or DiscoveryShape()
    reading = file.checked(ReadingShape, ("reading",), file.data.get("reading", {})) or ReadingShape()
    if reading.device_s < reading.answer_s:
        expected = f"at least answer_s, which is {reading.answer_s:g}"
        file.fault(("reading", "device_s"), found=f"{reading.device_s:g}", expected=expected)
    return SiteFile(
        name=shape.name if shape else None,
        networks=_networks(file),
        store_file=Path(shape.store if shape else "pattress.db"),
        limits=Limits(
            listen_s=discovery.listen_s,
            answer_s=reading.answer_s,
            device_s=reading.device_s,
            at_once=reading.at_once,
        ),
        uses_mdns=discovery.mdns,
        discovery=_discovery(discovery, folder),
        device_ca_file=files.certificate(("reading", "ca_file"), reading.ca_file),
        brokers=tuple(_brokers(file, files)),
        credentials=tuple(_credentials(file, files)),
        page_url=shape.page_url if shape else None,
    )


def check_credentials(file: TomlFile, *, kinds: Known, points: Known) -> None:
    """Note a fault for each credential of a kind or a point that does not exist."""
    for path, table in file.tables("credential"):
        for key, known, expected in (("kind", kinds, "the id of a profile"), ("point", points, "the name of a point")):
            name = table.get(key)
            if isinstance(name, str) and known.lacks(name):
                file.fault((*path, key), found=said(name), expected=expected, nearest=known.nearest(name))


def _domain(value: str) -> str:
    domain = value.strip(".").lower()
    if not domain or any(not label or " " in label for label in domain.split(".")):
        raise Mismatch("a domain such as home.arpa")
    return domain


_PORT = "a port from 1 to 65535"
_SECONDS = "a number of seconds above 0, at most 600"
Seconds = Annotated[float, Field(gt=0, le=600)]


class SiteShape(Shape):
    """The top of the site file."""

    name: Text = Field(description="the name of the site as text")
    policy: Text = Field(description="the id of a shipped policy or the name of a policy file")
    store: Text = Field(default="pattress.db", description="the name of the database file")
    page_url: PageAddress | None = Field(default=None, description="the address of the site's pages as text")
    networks: Table = Field(description="a [networks] table with at least devices")
    discovery: Table = Field(default={}, description="a table")
    reading: Table = Field(default={}, description="a table")
    broker: list[Table] = Field(default=[], description="[[broker]] tables")
    credential: list[Table] = Field(default=[], description="[[credential]] tables")
    watch: Table = Field(default={}, description="a table")


class NetworksShape(Shape):
    """The `[networks]` table."""

    devices: list[SiteNetwork] = Field(description='a list of networks, such as ["192.0.2.0/24"]', min_length=1)
    inside: list[SiteNetwork] = Field(default=[], description='a list of networks, such as ["192.0.2.0/24"]')
    outside: list[SiteNetwork] = Field(default=[], description='a list of networks, such as ["203.0.113.0/24"]')
    names: list[Annotated[str, AfterValidator(_domain)]] | None = Field(default=None, description="a list of domains")
    interfaces: list[Text] = Field(default=[], description="a list of interface names or addresses")


class DiscoveryShape(Shape):
    """The `[discovery]` table."""

    mdns: bool = True
    neighbours: bool = Field(default_factory=lambda: sys.platform == "linux", description="true or false")
    leases: list[Text] = Field(default=[], description='a list of files, such as ["/var/lib/misc/dnsmasq.leases"]')
    sweep: bool = False
    sweep_per_s: int = Field(default=50, ge=1, le=1000, description="a whole number from 1 to 1000")
    listen_s: Seconds = Field(default=4.0, description=_SECONDS)


class ReadingShape(Shape):
    """The `[reading]` table."""

    answer_s: Seconds = Field(default=5.0, description=_SECONDS)
    device_s: Seconds = Field(default=30.0, description=_SECONDS)
    at_once: int = Field(default=100, ge=1, le=1000, description="a whole number from 1 to 1000")
    ca_file: Text | None = None


class BrokerShape(Shape):
    """One `[[broker]]` table."""

    name: Name = Field(description="a name that no other broker has")
    host: Host = Field(description="a host name or an IP address")
    port: Annotated[int, Field(ge=1, le=65535)] | None = Field(default=None, description=_PORT)
    user: Text | None = None
    password_file: str | None = Field(default=None, description="the name of a file as text")
    tls: bool = False
    ca_file: Text | None = None


class CredentialShape(Shape):
    """One `[[credential]]` table."""

    kind: str | None = None
    point: str | None = None
    user: Text | None = None
    secret_file: str = Field(description="the name of a file that holds the secret as one line of text")


@dataclass(frozen=True, slots=True)
class _NamedFiles:
    """The files that the site file names: read, or noted as faults of the line that names them."""

    file: TomlFile
    folder: Path
    credentials_folder: Path | None

    def secret(self, path: KeyPath, name: str) -> Secret | None:
        try:
            return read_secret(name, folder=self.folder, credentials_folder=self.credentials_folder)
        except Mismatch as error:
            self.file.mismatch(path, None, error)
        return None

    def certificate(self, path: KeyPath, name: str | None) -> Path | None:
        if name is None:
            return None
        try:
            return certificate_file(name, folder=self.folder)
        except Mismatch as error:
            self.file.mismatch(path, name, error)
        return None


def _networks(file: TomlFile) -> Networks | None:
    found = file.table("networks")
    shape = file.checked(NetworksShape, *found) if found else None
    if shape is None:
        return None
    devices, inside = tuple(shape.devices), tuple(dict.fromkeys((*shape.devices, *shape.inside)))
    for number, network in enumerate(shape.outside):
        shared = next((one for one in inside if _overlap(one, network)), None)
        if shared is not None:
            found_too = f"{said(str(network))}, which shares addresses with {shared}"
            expected = "a network apart from those of devices and inside"
            file.fault(("networks", "outside", number), found=found_too, expected=expected)
    networks = Networks(
        devices=devices, inside=inside, outside=tuple(shape.outside), interfaces=tuple(shape.interfaces)
    )
    return networks if shape.names is None else replace(networks, names=tuple(shape.names))


def _overlap(one: IPNetwork, other: IPNetwork) -> bool:
    return one.version == other.version and one.overlaps(other)


def _discovery(shape: DiscoveryShape, folder: Path) -> Discovery:
    """The files of leases are not looked for here: a DHCP server may write its first one later."""
    return Discovery(
        neighbours=shape.neighbours,
        lease_files=tuple(dict.fromkeys(folder / name for name in shape.leases)),
        sweeps=shape.sweep,
        sweep_per_s=shape.sweep_per_s,
    )


def _brokers(file: TomlFile, files: _NamedFiles) -> Iterator[Broker]:
    first: dict[str, KeyPath] = {}
    for path, table in file.tables("broker"):
        file.check_unique(first, (*path, "name"), table.get("name"), expected="a name that no other broker has")
        _check_pairs(file, path, table)
        shape = file.checked(BrokerShape, path, table)
        if shape is None:
            continue
        password = None
        if shape.password_file is not None:
            password = files.secret((*path, "password_file"), shape.password_file)
        yield Broker(
            name=shape.name,
            host=shape.host,
            port=shape.port if shape.port is not None else 8883 if shape.tls else 1883,
            user=shape.user,
            password=password,
            uses_tls=shape.tls,
            ca_file=files.certificate((*path, "ca_file"), shape.ca_file),
        )


def _check_pairs(file: TomlFile, path: KeyPath, table: dict[str, Any]) -> None:
    misspelt = unknown_keys(BrokerShape, table)
    if "user" in table and "password_file" not in table and not misspelt:
        expected = "the name of a file that holds the user's password"
        file.fault((*path, "password_file"), found="nothing", expected=expected)
    if "password_file" in table and "user" not in table and not misspelt:
        file.fault((*path, "user"), found="nothing", expected="the user whose password password_file holds")
    if "ca_file" in table and table.get("tls", False) is False and not misspelt:
        file.fault((*path, "ca_file"), found="ca_file without tls", expected="tls = true beside it, or no ca_file")


def _credentials(file: TomlFile, files: _NamedFiles) -> Iterator[Credential]:
    for path, table in file.tables("credential"):
        file.check_one(path, table, ("kind", "point"))
        shape = file.checked(CredentialShape, path, table)
        secret = files.secret((*path, "secret_file"), shape.secret_file) if shape else None
        if shape is not None and secret is not None:
            yield Credential(secret=secret, user=shape.user, kind=shape.kind, point=shape.point)
