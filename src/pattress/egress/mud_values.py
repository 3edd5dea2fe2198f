"""The single values of a MUD file, each checked for what it must be.

What belongs here: text and numbers. What does not: the objects that hold them (mud_shapes.py).
"""

import re
from datetime import datetime
from ipaddress import IPv4Network, IPv6Network
from typing import Annotated
from urllib.parse import urlsplit

from pydantic import AfterValidator, BeforeValidator, Field

from pattress.model.addresses import parse_address

LAST_PORT = 65535


def _version(number: int) -> int:
    if number != 1:
        raise ValueError("1, the only version there is")
    return number


def _secure_url(text: str) -> str:
    try:
        parts = urlsplit(text)
        is_secure = parts.scheme == "https" and bool(parts.hostname)
    except ValueError:
        is_secure = False
    if not is_secure:
        raise ValueError("a URL that begins with https:// (RFC 8520 section 3.3)")
    return text


def _moment(text: str) -> str:
    if not _DATE_AND_TIME.fullmatch(text):
        raise ValueError("a date and time with its zone, such as 2019-01-28T11:20:51+01:00")
    try:
        datetime.fromisoformat(text[:19])
    except ValueError as error:
        raise ValueError("a date and time that exists") from error
    return text


def _bare(text: str) -> str:
    return text.removeprefix("ietf-access-control-list:")


def _forwarding(text: str) -> str:
    action = _bare(text)
    if action not in ("accept", "drop", "reject"):
        raise ValueError("accept, drop or reject")
    return action


def _host_name(text: str) -> str:
    name = text.lower().removesuffix(".")
    if parse_address(name) is not None:
        return name  # RFC 6991 section 4: a host is a name or an address
    if len(name) > 253 or not _HOST_NAME.fullmatch(name):
        raise ValueError("a host name")
    return name


def _network4(value: object) -> object:
    return _network(IPv4Network, value)


def _network6(value: object) -> object:
    return _network(IPv6Network, value)


def _network(kind: type[IPv4Network] | type[IPv6Network], value: object) -> object:
    try:
        if isinstance(value, str) and "/" in value:
            return kind(value, strict=False)  # RFC 6991 section 4: bits beyond the prefix are left aside
    except ValueError:
        pass
    raise ValueError(f"a network of IPv{4 if kind is IPv4Network else 6} with the length of its prefix")


_HOST_NAME = re.compile(r"[a-z0-9_](?:[a-z0-9_-]{0,61}[a-z0-9_])?(?:\.[a-z0-9_](?:[a-z0-9_-]{0,61}[a-z0-9_])?)*")
# RFC 6991 section 3, date-and-time; the fraction is bounded, so that a line is.
_DATE_AND_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,9})?(?:Z|[+-][0-9]{2}:[0-9]{2})"
)


Version = Annotated[int, AfterValidator(_version)]
SecureUrl = Annotated[str, Field(max_length=2000), AfterValidator(_secure_url)]
Moment = Annotated[str, AfterValidator(_moment)]
Name = Annotated[str, Field(pattern=r"^\P{C}{1,64}$")]  # RFC 8519 section 4.1; no control or direction characters
ListType = Annotated[str, AfterValidator(_bare)]
Forwarding = Annotated[str, AfterValidator(_forwarding)]
Port = Annotated[int, Field(ge=0, le=LAST_PORT)]
HostName = Annotated[str, AfterValidator(_host_name)]
Network4 = Annotated[IPv4Network, BeforeValidator(_network4)]
Network6 = Annotated[IPv6Network, BeforeValidator(_network6)]
