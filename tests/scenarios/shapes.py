"""What a scenario file may hold; a word that is not known is an error."""

import tomllib
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from pattress.lab.flow_messages import Flow, Version
from pattress.model.addresses import IPAddress
from pattress.model.encounter import ToldKind

FLAGS = {"F": 1, "S": 2, "R": 4, "P": 8, "A": 16}
PROTOCOLS = {"tcp": 6, "udp": 17, "icmp": 1, "icmpv6": 58, "igmp": 2}


def _span(value: object) -> timedelta:
    """Hours, minutes and seconds, as `1:30:00`; a minus sign in front goes back."""
    text = str(value)
    hours, minutes, seconds = (float(part) for part in text.removeprefix("-").split(":"))
    span = timedelta(hours=hours, minutes=minutes, seconds=seconds)
    return -span if text.startswith("-") else span


def _end(value: object) -> tuple[IPAddress, int]:
    """An address, and a port behind a colon where there is one: `192.0.2.11:443`, `[2001:db8::1]:443`."""
    text = str(value)
    if text.startswith("["):
        host, _, port = text[1:].partition("]")
        return ip_address(host), int(port.removeprefix(":") or 0)
    if text.count(":") == 1:
        host, _, port = text.partition(":")
        return ip_address(host), int(port)
    return ip_address(text), 0


def _flags(value: object) -> int:
    return sum(FLAGS[letter] for letter in str(value))


Span = Annotated[timedelta, BeforeValidator(_span)]
End = Annotated[tuple[IPAddress, int], BeforeValidator(_end)]
Flags = Annotated[int, BeforeValidator(_flags)]


class Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class BackShape(Shape):
    packets: int = 1
    octets: int = 60
    flags: Flags = 0


class FlowShape(Shape):
    """One flow; `lasted` until it was exported."""

    sender: End = Field(alias="from")
    receiver: End = Field(alias="to")
    protocol: Literal["tcp", "udp", "icmp", "icmpv6", "igmp"] = "tcp"
    packets: int = 3
    octets: int = 180
    flags: Flags = 0
    icmp: tuple[int, int] = (0, 0)
    back: BackShape | None = None
    nat_from: End | None = None
    nat_to: End | None = None
    mac: str | None = None
    denied: bool | None = None
    lasted: Span = timedelta(seconds=2)

    def flow(self, at: datetime) -> Flow:
        return Flow(
            sender=self.sender[0], receiver=self.receiver[0], sender_port=self.sender[1],
            receiver_port=self.receiver[1], protocol=PROTOCOLS[self.protocol], packets=self.packets,
            octets=self.octets, flags=self.flags, icmp_type=self.icmp[0], icmp_code=self.icmp[1],
            back=None if self.back is None else (self.back.packets, self.back.octets, self.back.flags),
            nat_sender=self.nat_from, nat_receiver=self.nat_to, sender_mac=self.mac, is_denied=self.denied,
            began_at=at - self.lasted, ended_at=at,
        )  # fmt: skip


class MovedShape(Shape):
    """What the neighbour table says of a device now."""

    device: str
    address: str


class StepShape(Shape):
    """What comes at one moment: flows, lines of a log, or where a device is now. `again` repeats it."""

    at: Span
    again: int = 0
    every: Span = timedelta(hours=1)
    # Flows
    flows: tuple[FlowShape, ...] = ()
    source: str | None = None
    version: Version = 10
    port: int = 40_000
    templates: Literal["when due", "always", "never"] = "when due"
    restarted: bool = False
    sampling: int | None = None
    datagrams: Literal["once", "twice", "in reverse"] = "once"
    # Lines
    lines: str | None = None
    way: Literal["file", "syslog"] = "file"
    # Where devices are
    moved: MovedShape | None = None

    @model_validator(mode="after")
    def _is_one_thing(self) -> "StepShape":
        if bool(self.flows or self.templates == "always") + (self.lines is not None) + (self.moved is not None) != 1:
            raise ValueError("a step has flows (or templates alone), lines or moved: one of them")
        return self


class PastShape(Shape):
    """The company of a device in the days before: in an hour of each, so many hosts and ports."""

    device: str
    days: int
    hosts: int
    ports: int = 1


class ToldShape(Shape):
    """What a person must be told, and of how many pieces of evidence in the end."""

    kind: ToldKind
    device: str
    place: str
    how: Literal["at once", "in the message of the day"]
    times: int
    remotes: tuple[str, ...] = ()
    port: int | None = None
    name: str | None = None
    remark: str | None = None
    sources: tuple[str, ...] = ()


class HeardShape(Shape):
    """What the tally of the sources must come to in all."""

    lost: int = 0
    refused: int = 0
    unmatched: int = 0


class Scenario(Shape):
    """One file. `networks` and `watch` stand in for those of the usual site; `more` is added to its end."""

    title: str = Field(min_length=10)
    wire: str = Field(min_length=40)
    begins: datetime = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
    lasts: Span = timedelta(minutes=10)
    networks: str | None = None
    watch: str | None = None
    more: str = ""
    files: dict[str, str] = {}
    cloud_off: tuple[str, ...] = ()
    past: PastShape | None = None
    quiet: bool = False
    step: tuple[StepShape, ...] = ()
    told: tuple[ToldShape, ...] = ()
    untrue: tuple[str, ...] = ()
    otherwise: dict[Literal["stays-inside", "asks-nothing-outside"], Literal["met", "unverified"]] = {
        "stays-inside": "met",
        "asks-nothing-outside": "met",
    }
    heard: HeardShape = HeardShape()


def scenario_of(file: Path) -> Scenario:
    """Return the scenario of a file, checked."""
    document: dict[str, Any] = tomllib.loads(file.read_text(encoding="utf-8"))
    return Scenario.model_validate(document)
