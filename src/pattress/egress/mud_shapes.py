"""The shape of a MUD file: RFC 8520 sections 2 to 8, with the access lists of RFC 8519.

What belongs here: what may stand where. What does not: what it allows (mud_policy.py).
"""

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from pattress.egress.mud_values import (
    LAST_PORT,
    Forwarding,
    HostName,
    ListType,
    Moment,
    Name,
    Network4,
    Network6,
    Port,
    SecureUrl,
    Version,
)


class MudShape(BaseModel):
    """The container `ietf-mud:mud`. What a maker says of himself besides is left aside."""

    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)

    mud_version: Version = Field(alias="mud-version")
    mud_url: SecureUrl = Field(alias="mud-url")
    last_update: Moment = Field(alias="last-update")
    cache_validity: int = Field(alias="cache-validity", ge=1, le=168, default=48)  # RFC 8520 section 3.5, in hours
    is_supported: bool = Field(alias="is-supported")
    systeminfo: str | None = Field(default=None, max_length=60)
    extensions: list[Name] = Field(default_factory=list, max_length=64)
    from_device: "PolicyShape | None" = Field(default=None, alias="from-device-policy")
    to_device: "PolicyShape | None" = Field(default=None, alias="to-device-policy")


class _Shape(BaseModel):
    model_config = ConfigDict(extra="allow", frozen=True, strict=True)

    @model_validator(mode="before")
    @classmethod
    def _has_no_null(cls, value: object) -> object:
        """Refuse null: taken for absent, it would let an entry match more than it says."""
        if isinstance(value, dict) and any(part is None for part in value.values()):
            raise ValueError("no null in it")
        return value

    @property
    def others(self) -> frozenset[str]:
        """What stands here beside what is known."""
        return frozenset(self.model_extra or ())


class PolicyShape(_Shape):
    """`from-device-policy` or `to-device-policy`: the names of access lists, in their order."""

    access_lists: "NamesShape" = Field(alias="access-lists")


class NamesShape(_Shape):
    """The names of access lists."""

    access_list: list["NameShape"] = Field(alias="access-list", max_length=64)


class NameShape(_Shape):
    """The name of one access list."""

    name: Name


class ListsShape(_Shape):
    """The container of the access lists."""

    acl: list["ListShape"] = Field(max_length=64)


class ListShape(_Shape):
    """One access list."""

    name: Name
    type: ListType = ""
    aces: "EntriesShape" = Field(default_factory=lambda: EntriesShape())


class EntriesShape(_Shape):
    """The entries of an access list, in their order."""

    ace: list["EntryShape"] = Field(default_factory=list, max_length=512)


class EntryShape(_Shape):
    """One entry: what it matches, and whether that is let through."""

    name: Name
    matches: "MatchesShape" = Field(default_factory=lambda: MatchesShape())
    actions: "ActionsShape"


class ActionsShape(_Shape):
    """What is done with what matches."""

    forwarding: Forwarding


class MatchesShape(_Shape):
    """What an entry matches: everything in it at once."""

    ipv4: "Ipv4Shape | None" = None
    ipv6: "Ipv6Shape | None" = None
    tcp: "TcpShape | None" = None
    udp: "UdpShape | None" = None
    icmp: "IcmpShape | None" = None
    mud: dict[str, Any] | None = Field(default=None, alias="ietf-mud:mud")

    @model_validator(mode="after")
    def _is_of_one_kind(self) -> "MatchesShape":
        if self.ipv4 is not None and self.ipv6 is not None:
            raise ValueError("either ipv4 or ipv6")
        transports = [self.tcp, self.udp, self.icmp]
        if sum(transport is not None for transport in transports) > 1:
            raise ValueError("one of tcp, udp and icmp")
        implied = self.transport_protocol(6 if self.ipv6 is not None else 4)
        if self.layer3 is not None and self.layer3.protocol is not None and implied not in (None, self.layer3.protocol):
            raise ValueError(f"the protocol {implied}, whose ports or types the entry names")
        return self

    @property
    def layer3(self) -> "Ipv4Shape | Ipv6Shape | None":
        """What is matched of the Internet protocol."""
        return self.ipv4 if self.ipv4 is not None else self.ipv6

    @property
    def transport(self) -> "UdpShape | None":
        """What is matched of a protocol with ports."""
        return self.tcp if self.tcp is not None else self.udp

    def transport_protocol(self, version: int | None) -> int | None:
        """Return the protocol that the presence of a transport means."""
        if self.icmp is not None:
            return 58 if version == 6 else 1
        return 6 if self.tcp is not None else 17 if self.udp is not None else None


class Ipv4Shape(_Shape):
    """Matches of IPv4, with the names of RFC 8520 section 8."""

    protocol: int | None = Field(default=None, ge=0, le=255)
    source_name: HostName | None = Field(default=None, alias="ietf-acldns:src-dnsname")
    destination_name: HostName | None = Field(default=None, alias="ietf-acldns:dst-dnsname")
    source_network: Network4 | None = Field(default=None, alias="source-ipv4-network")
    destination_network: Network4 | None = Field(default=None, alias="destination-ipv4-network")


class Ipv6Shape(_Shape):
    """Matches of IPv6, likewise."""

    protocol: int | None = Field(default=None, ge=0, le=255)
    source_name: HostName | None = Field(default=None, alias="ietf-acldns:src-dnsname")
    destination_name: HostName | None = Field(default=None, alias="ietf-acldns:dst-dnsname")
    source_network: Network6 | None = Field(default=None, alias="source-ipv6-network")
    destination_network: Network6 | None = Field(default=None, alias="destination-ipv6-network")


class PortsShape(_Shape):
    """Ports by an operator, or from a lower to an upper one (RFC 8519 section 4.2)."""

    operator: Literal["eq", "neq", "lte", "gte", "range"] | None = None
    port: Port | None = None
    lower: Port | None = Field(default=None, alias="lower-port")
    upper: Port | None = Field(default=None, alias="upper-port")

    @model_validator(mode="after")
    def _is_one_of_both(self) -> "PortsShape":
        bounds = (self.lower, self.upper)
        if self.port is not None:
            if bounds != (None, None) or self.operator == "range":
                raise ValueError("either port or lower-port and upper-port")
        elif self.lower is None or self.upper is None or self.operator not in (None, "range"):
            raise ValueError("a port, or lower-port and upper-port")
        elif self.lower > self.upper:
            raise ValueError("a lower-port that is not above the upper-port")
        return self

    @property
    def ranges(self) -> tuple[tuple[int, int], ...]:
        """The ports as ranges, each with its ends."""
        if self.port is None:
            return ((self.lower or 0, self.upper or 0),)
        match self.operator:
            case "neq":
                around = ((0, self.port - 1), (self.port + 1, LAST_PORT))
                return tuple((low, high) for low, high in around if low <= high)
            case "lte":
                return ((0, self.port),)
            case "gte":
                return ((self.port, LAST_PORT),)
            case _:
                return ((self.port, self.port),)


class UdpShape(_Shape):
    """Matches of UDP."""

    source: PortsShape | None = Field(default=None, alias="source-port")
    destination: PortsShape | None = Field(default=None, alias="destination-port")


class TcpShape(UdpShape):
    """Matches of TCP, with who begins (RFC 8520 section 3.16)."""

    initiated: Literal["from-device", "to-device"] | None = Field(default=None, alias="ietf-mud:direction-initiated")


class IcmpShape(_Shape):
    """Matches of ICMP; its types are not judged."""
