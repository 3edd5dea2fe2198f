"""The shapes of the tables of `[watch]` and the types of their fields.

What belongs here: what one table by itself must be. What does not: what tables need of one another (`watch_file`,
`watch_allowances`).
"""

import re
from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, Field, PlainValidator

from pattress.model.addresses import IPNetwork, parse_address
from pattress.model.encounter import Verdict
from pattress.model.watching import WatchKind
from pattress.site.names import nearest
from pattress.site.patterns import line_pattern_fault
from pattress.site.shapes import HOST_NAME, Address, Mismatch, Name, Shape, Table, Text, network_of

PROTOCOLS = {"tcp": 6, "udp": 17, "icmp": 1, "icmpv6": 58}  # IANA, Assigned Internet Protocol Numbers
MAX_PREFIX_LENGTH = 127  # of a netfilter log rule: NF_LOG_PREFIXLEN is 128 with the end of the text
MAX_PORT = 65_535


def _where(value: object) -> tuple[str, int]:
    expected = 'a host and a port, such as "192.0.2.2:4739" or "[::1]:4739"'
    found = _HOST_AND_PORT.fullmatch(value) if isinstance(value, str) else None
    if found is None or not 1 <= int(found["port"]) <= MAX_PORT:
        raise Mismatch(expected)
    host = found["name"] or found["address"]
    address = parse_address(host)
    is_address = address is not None and address.version == (6 if found["address"] else 4)
    if found["address"] and not is_address:
        raise Mismatch(expected)
    if not is_address and (_DIGITS.fullmatch(host) or not HOST_NAME.fullmatch(host)):
        raise Mismatch(expected)
    return host, int(found["port"])


def _network(value: object) -> IPNetwork:
    if not isinstance(value, str):
        raise Mismatch('an address or a network as text, such as "203.0.113.0/24"')
    if "/" not in value:
        address = parse_address(value)
        if address is None:
            raise Mismatch("an address or a network; a name belongs into name")
        value = str(address)
    network = network_of(value)
    if network.prefixlen == 0:
        raise Mismatch("an address or a network, not every address there is")
    return network


def _outside_name(value: str) -> str:
    if parse_address(value) is not None:
        raise Mismatch("a name; an address belongs into to")
    name = value.lower().removesuffix(".")
    if len(name) > 253 or not HOST_NAME.fullmatch(name.removeprefix("*.")):
        raise Mismatch("a name such as time.example, or *.pool.example for every name below it")
    return name


def _ports(value: object) -> tuple[int, int]:
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= MAX_PORT:
        return value, value
    found = _PORT_RANGE.fullmatch(value) if isinstance(value, str) else None
    if found is None or not 1 <= int(found["low"]) <= int(found["high"]) <= MAX_PORT:
        raise Mismatch('a port from 1 to 65535, or two of them as text, such as "8000-8010"')
    return int(found["low"]), int(found["high"])


def _protocol(value: object) -> int:
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 255:
        return value
    if value not in PROTOCOLS:
        raise Mismatch(f"one of {', '.join(PROTOCOLS)}, or a number from 0 to 255", nearest=nearest(value, PROTOCOLS))
    return PROTOCOLS[str(value)]


def _journal(value: str) -> str:
    if not _UNIT_NAME.fullmatch(value):
        raise Mismatch('"kernel", or the name of a unit, such as "dnsmasq.service"')
    return value


def _pattern(value: str) -> str:
    wrong = line_pattern_fault(value)
    if wrong is not None:
        raise Mismatch("a regular expression for a line of the log", found=f"a pattern that cannot be used ({wrong})")
    missing = [group for group in ("asker", "name") if group not in re.compile(value).groupindex]
    if missing:
        said = " and ".join(f"(?P<{group}>…)" for group in missing)
        raise Mismatch(
            f"the groups asker and name in it, as {said}", found=f"a pattern without {' and '.join(missing)}"
        )
    return value


_HOST_AND_PORT = re.compile(r"(?:\[(?P<address>[^\[\]]+)\]|(?P<name>[^\[\]:]+)):(?P<port>\d{1,5})", re.ASCII)
_UNIT_NAME = re.compile(
    r"[A-Za-z0-9:_.\\@][A-Za-z0-9:_.\\@-]{0,254}"
)  # systemd.unit(5); it goes to a program as an option
_DIGITS = re.compile(r"[0-9.]+")  # an address that is none is not a name
_PORT_RANGE = re.compile(r"(?P<low>\d{1,5}) ?- ?(?P<high>\d{1,5})", re.ASCII)

JournalName = Annotated[str, AfterValidator(_journal)]
Where = Annotated[Any, PlainValidator(_where)]
Network = Annotated[IPNetwork, PlainValidator(_network)]
OutsideName = Annotated[str, AfterValidator(_outside_name)]
Ports = Annotated[Any, PlainValidator(_ports)]
Protocol = Annotated[Any, PlainValidator(_protocol)]
Pattern = Annotated[str, AfterValidator(_pattern)]


class WatchShape(Shape):
    """The `[watch]` table."""

    flows_at: Where | None = None
    syslog_at: Where | None = None
    tried: Literal["daily", "at once"] = "daily"
    source: list[Table] = Field(default=[], description="[[watch.source]] tables")
    allow: list[Table] = Field(default=[], description="[[watch.allow]] tables")
    mud: list[Table] = Field(default=[], description="[[watch.mud]] tables")


class SourceShape(Shape):
    """One `[[watch.source]]` table."""

    name: Name = Field(description="a name that no other source has")
    kind: WatchKind = Field(description="one of " + ", ".join(get_args(WatchKind)))
    senders: list[Address] = Field(
        default=[], alias="from", min_length=1, description='a list of addresses, such as ["192.0.2.1"]'
    )
    file: Text | None = None
    journal: JournalName | None = None
    prefix: dict[str, Verdict] = Field(
        default={}, min_length=1, description='a table of log prefixes, such as { "iot-drop" = "dropped" }'
    )
    pattern: Pattern | None = None
    sees: Literal["before-filter", "after-filter"] = "before-filter"
    silent_after_s: float = Field(
        default=3600.0, ge=60, le=604_800, description="a number of seconds from 60 to 604800, which is a week"
    )


class AllowanceShape(Shape):
    """One `[[watch.allow]]` table."""

    to: Network | None = None
    name: OutsideName | None = None
    ports: list[Ports] = Field(default=[], min_length=1, description='a list of ports, such as [123, "8000-8010"]')
    protocol: Protocol | None = None
    point: str | None = None
    kind: str | None = None
    inbound: bool = False
    reason: Text = Field(description="why devices may have to do with it")


class MudShape(Shape):
    """One `[[watch.mud]]` table."""

    file: Text = Field(description="the name of a MUD file, relative to the site's folder")
    point: str | None = None
    kind: str | None = None
