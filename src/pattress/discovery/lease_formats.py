"""Lease files of three DHCP servers into leases: bytes in, leases out.

What belongs here: the formats of dnsmasq, of Kea's memfile and of ISC dhcpd, told apart by what the file holds. What
does not: reading a file, and whether a lease has run out (`leases`). All three are written while they are read, so
that the last line may be half of one; in all three the last entry for an address is the one that holds.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from pattress.model.addresses import normal_mac, parse_address

LeaseFormat = Literal["dnsmasq", "kea", "isc-dhcpd"]

MAX_LEASES = 100_000  # addresses, about 400 bytes each: 40 MB at worst; a house has a few hundred
MAX_NAME_LENGTH = 255  # a DNS name has at most 255 bytes (RFC 1035 section 2.3.4)


class UnknownFormatError(ValueError):
    """The file holds something, and it is no lease file of a known format."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lease:
    """An address given to a device. `name` is what the device calls itself, any text; `expires_at` None is never."""

    address: str
    mac: str | None
    name: str | None
    expires_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeaseTable:
    """The leases of a file, and what was not one: entries that make no sense, and those over `MAX_LEASES`.

    `format` is None where the file holds nothing yet.
    """

    format: LeaseFormat | None
    leases: tuple[Lease, ...]
    unfit: int = 0
    left_out: int = 0


def leases_of(data: bytes) -> LeaseTable:
    """Return the leases that the bytes of a lease file hold, expired ones among them.

    Sources: dnsmasq(8), option --dhcp-leasefile; Kea Administrator Reference Manual, memfile; dhcpd.leases(5).

    Raises:
        UnknownFormatError: If they hold something in no format that is known here.
    """
    # Names may be of any bytes; those that are not UTF-8 are carried along and made visible in the name.
    text = data.decode("utf-8", "surrogateescape")
    file_format = _format_of(text)
    table = _Table()
    if file_format is not None:
        _PARSERS[file_format](text, table)
    return LeaseTable(
        format=file_format, leases=tuple(table.leases.values()), unfit=table.unfit, left_out=table.left_out
    )


class _Table:
    """The leases so far."""

    def __init__(self) -> None:
        self.leases: dict[str, Lease] = {}
        self.unfit = 0
        self.left_out = 0

    def put(self, address: str, *, mac: str | None, name: str | None, expires_at: datetime | None) -> None:
        normal = _address(address)
        if normal is None:
            self.unfit += 1
        elif normal not in self.leases and len(self.leases) >= MAX_LEASES:
            self.left_out += 1
        else:
            self.leases[normal] = Lease(
                address=normal, mac=normal_mac(mac or ""), name=_shown(name), expires_at=expires_at
            )

    def drop(self, address: str) -> None:
        """Forget what an earlier entry said of an address: the lease was given back or taken away."""
        self.leases.pop(_address(address) or "", None)


def _format_of(text: str) -> LeaseFormat | None:
    """Return the format by the first line that is neither empty nor a comment, None where there is none."""
    found = _FIRST_LINE.search(text)
    if found is None:
        return None
    line = found[1]
    if _is_kea_head(line):
        return "kea"
    if _DNSMASQ_LINE.match(line):
        return "dnsmasq"
    if _ISC_START.match(line):
        return "isc-dhcpd"
    raise UnknownFormatError("neither dnsmasq, nor Kea's memfile, nor ISC dhcpd writes such a file")


def _whole_lines(text: str, table: _Table) -> Iterator[str]:
    """Yield each line that has an end. One without is still being written: half an address is another address."""
    start = 0
    while (end := text.find("\n", start)) >= 0:  # not `splitlines`: a name may hold any other line separator
        line = text[start:end].rstrip("\r")
        start = end + 1
        if line.strip() and not line.startswith("#"):
            yield line
    if text[start:].strip():
        table.unfit += 1


def _parse_dnsmasq(text: str, table: _Table) -> None:
    """`1795601141 02:00:00:00:00:07 10.20.0.50 relay-7 01:02:…`: expiry, MAC, address, name, client id."""
    for line in _whole_lines(text, table):
        fields = line.split(" ")
        if fields[0] == "duid":  # the server's own identifier, before the IPv6 leases
            continue
        expiry = _epoch(fields[0])
        if expiry is None or len(fields) < 4:
            table.unfit += 1
            continue
        # Of an IPv6 lease the second field is the number of the client's interface, which no MAC is mistaken for:
        # it is decimal of at most ten digits. A MAC of another medium than Ethernet has its type in front.
        name = None if fields[3] == "*" else fields[3]
        expires_at = None if expiry == 0 else _moment(expiry)
        table.put(fields[2], mac=fields[1], name=name, expires_at=expires_at)


def _parse_kea(text: str, table: _Table) -> None:
    """A head with the names of the columns, then a row for each change; more columns were added over the years."""
    columns: dict[str, int] = {}
    for line in _whole_lines(text, table):
        if _is_kea_head(line):
            columns = {name: number for number, name in enumerate(line.split(","))}
            continue
        fields = line.split(",")
        row = {name: fields[number] for name, number in columns.items() if number < len(fields)}
        expiry, lifetime = _epoch(row.get("expire", "")), _epoch(row.get("valid_lifetime", ""))
        if expiry is None or lifetime is None or "address" not in row:
            table.unfit += 1
            continue
        # State 1 is declined, 2 expired and taken back, and further ones are no lease either; lease type 2 is a
        # prefix, not an address. A lifetime of 0 is how a row says that the lease was removed.
        if row.get("state", "0") != "0" or row.get("lease_type", "0") == "2" or lifetime == 0:
            table.drop(row["address"])
            continue
        name = _KEA_ESCAPE.sub(lambda found: chr(int(found[1], 16)), row.get("hostname", ""))
        expires_at = None if lifetime == _KEA_NEVER else _moment(expiry)
        table.put(row["address"], mac=row.get("hwaddr"), name=name or None, expires_at=expires_at)


def _parse_isc(text: str, table: _Table) -> None:
    """Blocks of statements, `lease 10.20.0.70 { … }`, and `iaaddr …` within others for IPv6."""
    words: list[str] = []
    block: _IscLease | None = None
    depth = block_depth = 0
    for found in _ISC_TOKEN.finditer(text):
        piece = found[0]
        if piece == "{":
            depth += 1
            starts_lease = words[:1] == ["lease"]  # also where the one before was never closed
            if len(words) > 1 and (starts_lease or (block is None and words[0] == "iaaddr")):
                table.unfit += block is not None
                depth = 1 if starts_lease else depth
                block, block_depth = _IscLease(words[1]), depth
            words = []
        elif piece == "}":
            if block is not None and depth == block_depth:
                block.end(table)
                block = None
            depth = max(0, depth - 1)
            words = []
        elif piece == ";":
            if block is not None and depth == block_depth:
                block.take(words)
            words = []
        elif not piece.startswith("#") and len(words) < MAX_STATEMENT_WORDS:
            words.append(piece)
    table.unfit += block is not None


class _IscLease:
    """One block of an ISC file, as far as it was read."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._mac: str | None = None
        self._name: str | None = None
        self._state = "active"  # old versions wrote no state
        self._expiry: datetime | Literal["never"] | None = None

    def take(self, words: list[str]) -> None:
        match words:
            case ["hardware", "ethernet", mac]:
                self._mac = mac
            case ["client-hostname", name]:
                self._name = _isc_text(name)
            case ["binding", "state", state]:
                self._state = state
            case ["ends", "never"]:
                self._expiry = "never"
            case ["ends", "epoch", seconds] if (epoch := _epoch(seconds)) is not None:
                self._expiry = _moment(epoch)
            case ["ends", _, date, time]:
                self._expiry = _isc_moment(f"{date} {time}")

    def end(self, table: _Table) -> None:
        if self._state != "active":
            table.drop(self._address)
        elif self._expiry is None:
            table.unfit += 1
        else:
            expires_at = None if self._expiry == "never" else self._expiry
            table.put(self._address, mac=self._mac, name=self._name, expires_at=expires_at)


def _isc_text(token: str) -> str:
    """Return what a token says; text in quotes may hold bytes as `\\ooo`, and quotes and backslashes behind one."""
    if not token.startswith('"'):
        return token
    raw = token[1:].removesuffix('"').encode("utf-8", "surrogateescape")
    said = _ISC_ESCAPE.sub(lambda found: bytes([int(found[1], 8) & 0xFF]) if found[1] else found[2], raw)
    return said.decode("utf-8", "surrogateescape")


def _isc_moment(text: str) -> datetime | None:
    found = _ISC_MOMENT.fullmatch(text)
    if found is None:
        return None
    year, month, day, hour, minute, second = map(int, found.groups())
    try:
        return datetime(year, month, day, hour, minute, second, tzinfo=UTC)
    except ValueError:
        return None


def _address(text: str) -> str | None:
    parsed = parse_address(text) if "%" not in text else None
    return None if parsed is None else str(parsed)


def _shown(name: str | None) -> str | None:
    """Return a name as text that can be kept and sent: a byte that is no UTF-8 becomes `\\xff`."""
    if name is None:
        return None
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")[:MAX_NAME_LENGTH]


def _epoch(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 20 else None


def _moment(epoch_s: int) -> datetime:
    """Return a moment; one that no calendar of ours holds is the last that it does."""
    return datetime.fromtimestamp(min(epoch_s, _LAST_SECOND), UTC)


def _is_kea_head(line: str) -> bool:
    return line.startswith(("address,hwaddr,", "address,duid,"))


MAX_STATEMENT_WORDS = 8  # the statements that are looked at have at most four
_LAST_SECOND = 253_402_300_799  # 9999-12-31T23:59:59Z
_KEA_NEVER = 0xFFFF_FFFF  # RFC 2131 section 3.3: infinity
_PARSERS: dict[LeaseFormat, Callable[[str, _Table], None]] = {
    "dnsmasq": _parse_dnsmasq,
    "kea": _parse_kea,
    "isc-dhcpd": _parse_isc,
}
_FIRST_LINE = re.compile(r"^[ \t]*+([^\s#][^\n]{0,500})", re.MULTILINE)
_DNSMASQ_LINE = re.compile(r"\d{1,20} \S+ [0-9A-Fa-f:.]+ \S|duid ")
_ISC_START = re.compile(
    r"(?:lease|host|group|subgroup|class|subclass|failover|ia-na|ia-ta|ia-pd)\s+[^{;]+\{|"
    r"(?:authoring-byte-order|server-duid|default-duid|db-time-format)\s"
)
_KEA_ESCAPE = re.compile(r"&#x([0-9A-Fa-f]{2})")
# An opened text always ends here, at its line's end if it must, so that every character is looked at once.
_ISC_TOKEN = re.compile(r'#[^\n]*|"(?:[^"\\\n]|\\[^\n])*+"?|[{};]|[^\s{};"#]+')
_ISC_MOMENT = re.compile(r"(\d{4})/(\d\d)/(\d\d) (\d\d):(\d\d):(\d\d)", re.ASCII)  # of UTC
_ISC_ESCAPE = re.compile(rb"\\([0-7]{3})|\\(.)")
