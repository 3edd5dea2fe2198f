"""Files of traffic that was seen earlier, to be looked at again.

What belongs here: telling such files apart, and the datagrams of flow export in them. What does not: formats of files
(`capture_files`) and packets (`captured_packets`), what flow export says, lines of logs.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Literal

from pattress.egress.capture_files import is_capture, malformed, packets_in
from pattress.egress.captured_packets import Reassembly, has_known_link
from pattress.egress.tally import Tally
from pattress.model.addresses import IPAddress
from pattress.model.errors import CaptureError, reason_of

FileKind = Literal["capture", "datagram", "folder", "log"]
MAX_DATAGRAM_BYTES: Final = 65_535
MAX_FILES: Final = 100_000  # of a folder, whose names take some 100 bytes each
LOOKED_AT_BYTES: Final = 4096  # of the beginning of a file: what is no text has a zero among them


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """A datagram of flow export. A saved one does not say who sent it: `sender` is None, `port` 0."""

    sender: IPAddress | None
    port: int
    at: datetime
    payload: bytes


def kind_of(path: Path) -> FileKind:
    """Return what a file is: captured packets, one saved datagram, or a log; or that it is a folder.

    Raises:
        CaptureError: If it cannot be read, is compressed, or is nothing of all this.
    """
    if path.is_dir():
        return "folder"
    try:
        with path.open("rb") as file:
            start = file.read(LOOKED_AT_BYTES)
    except OSError as error:
        raise _unreadable(path, error) from error
    if start.startswith(_COMPRESSED):
        raise CaptureError("it is compressed", where=str(path), next_step="Unpack it and run the command again")
    if is_capture(start):
        return "capture"
    if start[:2] in _VERSIONS:
        return "datagram"
    if b"\0" in start:
        raise malformed(path, "it is neither a capture of packets, nor a saved datagram of flow export, nor text")
    return "log"


def datagrams_of(path: Path, tally: Tally | None = None) -> Iterator[Captured]:
    """Yield the datagrams of flow export in a capture, in a file of one, or in a folder of those by their names.

    In a capture every UDP datagram counts that starts as IPFIX, NetFlow v9 or v5 does, whatever its port. What is
    known to be missing, such as fragments, is counted in `tally` as lost. A saved datagram came when it says it was
    sent.

    Raises:
        CaptureError: If a file cannot be read or is malformed; what stands before that has been yielded.
    """
    counted = Tally() if tally is None else tally
    try:
        match kind_of(path):
            case "capture":
                yield from _of_capture(path, counted)
            case "datagram":
                yield _saved(path)
            case "folder":
                for file in _files(path):
                    yield _saved(file)
            case "log":
                raise malformed(path, "it is neither a capture of packets nor a saved datagram of flow export")
    except OSError as error:
        raise _unreadable(path, error) from error


def _of_capture(path: Path, tally: Tally) -> Iterator[Captured]:
    reassembly = Reassembly(_VERSIONS, tally)
    for packet in packets_in(path, tally):
        if not has_known_link(packet):
            raise CaptureError(
                f"it has packets of link type {packet.link_type}, which is not read",
                where=str(path),
                next_step="Capture on the Ethernet interface that flow export comes in by, or on any with tcpdump",
            )
        found = reassembly.take(packet)
        if found is not None:
            yield Captured(sender=found.sender, port=found.port, at=found.at, payload=found.payload)
    reassembly.end()


def _files(folder: Path) -> list[Path]:
    """The files of a folder by their names, without hidden ones."""
    found = []
    for file in folder.iterdir():
        if not file.name.startswith("."):
            found.append(file)
        if len(found) > MAX_FILES:
            raise CaptureError(
                f"it holds more than {MAX_FILES} files", where=str(folder), next_step="Divide them among folders"
            )
    return sorted(found)


def _saved(path: Path) -> Captured:
    with path.open("rb") as file:
        payload = file.read(MAX_DATAGRAM_BYTES + 1)
    sent_at = _SENT_AT.get(payload[:2])
    if sent_at is None or not sent_at + 4 <= len(payload) <= MAX_DATAGRAM_BYTES:
        raise malformed(path, "it is no saved datagram of flow export")
    at = datetime.fromtimestamp(int.from_bytes(payload[sent_at : sent_at + 4]), UTC)
    return Captured(sender=None, port=0, at=at, payload=payload)


def _unreadable(path: Path, error: OSError) -> CaptureError:
    return CaptureError(
        f"it cannot be read ({reason_of(error)})", where=str(path), next_step="Check its name and who may read it"
    )


# Where each version has the seconds since 1970 (RFC 7011 section 3.1, RFC 3954 section 5.1, and v5 like v9).
_SENT_AT = {b"\x00\x05": 8, b"\x00\x09": 8, b"\x00\x0a": 4}
_VERSIONS = tuple(_SENT_AT)
_COMPRESSED = (b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"\x28\xb5\x2f\xfd")  # gzip, bzip2, xz, zstd
