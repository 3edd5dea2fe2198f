"""Sightings from the lease files of DHCP servers: which address was given to whom.

What belongs here: reading the files while their server writes them, and what of them is told. What does not: their
formats (`lease_formats`). A lease says that a device was there when it asked, not that it is there now.
"""

import asyncio
import os
import stat
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from pattress.discovery import Sink
from pattress.discovery.lease_formats import Lease, LeaseTable, UnknownFormatError, leases_of
from pattress.model.addresses import is_inside, parse_address
from pattress.model.device import Sighting
from pattress.model.site import Networks
from pattress.model.source import SourceReport

POLL_S = 1.0  # a look at a file that has not changed costs about 10 microseconds
MAX_FILE_BYTES = 16 * 1024 * 1024  # a lease takes 80 to 400 bytes: room for 40,000 of the longest
MAX_SIGHTINGS = 10_000  # told of one file in one listening; a house of 200 modules makes under 1,000


class LeaseSource:
    """The lease files of the site's DHCP servers as a source of sightings, one report for each file."""

    def __init__(self, files: Sequence[Path], networks: Networks, clock: Callable[[], datetime]) -> None:
        self._files = tuple(dict.fromkeys(files))
        self._networks = networks
        self._clock = clock

    async def listen(self, sink: Sink, stop: asyncio.Event) -> Sequence[SourceReport]:
        """Hand each lease in the device networks to `sink`, and each new one, until `stop` is set."""
        watched = [_Watched(path, self._networks, self._clock) for path in self._files]
        async with asyncio.TaskGroup() as group:
            for one in watched:
                group.create_task(one.follow(sink, stop), name=f"leases in {one.path}")
        return [one.report() for one in watched]


class _Watched:
    """One lease file: what was read of it last, and what was told."""

    def __init__(self, path: Path, networks: Networks, clock: Callable[[], datetime]) -> None:
        self.path = path
        self._networks = networks
        self._clock = clock
        self._content = _Content()
        self._told: set[tuple[str, str | None, str | None]] = set()
        self._expired = self._elsewhere = self._over = 0

    async def follow(self, sink: Sink, stop: asyncio.Event) -> None:
        """Read the file again whenever it changes, and once more in the end."""
        while True:
            is_last = stop.is_set()
            content = await asyncio.to_thread(_read, self.path, self._content)
            if content is not self._content:
                self._content = content
                self._tell(content.table, sink)
            if is_last:
                return
            try:
                async with asyncio.timeout(POLL_S):
                    await stop.wait()
            except TimeoutError:
                pass

    def report(self) -> SourceReport:
        """Return how it fared."""
        source = f"leases in {self.path}"
        content = self._content
        if content.failure is not None:
            return SourceReport(source=source, state="failed", detail=content.failure, heard_count=len(self._told))
        table = content.table
        kind = f" ({table.format})" if table.format is not None else ""
        detail = f"{len(self._told)} leases in the device networks{kind}"
        for count, what in (
            (self._expired, "expired"),
            (self._elsewhere, "elsewhere"),
            (self._over + table.left_out, "over the limits and left out"),
            (table.unfit, "entries that are not whole or make no sense"),
        ):
            detail += f"; {count} {what}" if count else ""
        count = len(self._told)
        return SourceReport(source=source, state="heard" if count else "silent", detail=detail, heard_count=count)

    def _tell(self, table: LeaseTable, sink: Sink) -> None:
        now = self._clock()
        self._expired = self._elsewhere = self._over = 0
        for lease in table.leases:
            address = parse_address(lease.address)
            if address is None or not is_inside(address, self._networks.devices):
                self._elsewhere += 1
            elif lease.expires_at is not None and lease.expires_at <= now:
                self._expired += 1
            elif (key := (lease.address, lease.mac, lease.name)) not in self._told:
                if len(self._told) >= MAX_SIGHTINGS:
                    self._over += 1
                    continue
                self._told.add(key)
                sink(_sighting(lease, self.path, now))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Content:
    """What a file held when it was as `stamp` says, or why it could not be read."""

    stamp: object = None
    table: LeaseTable = field(default_factory=lambda: LeaseTable(format=None, leases=()))
    failure: str | None = None


def _sighting(lease: Lease, path: Path, now: datetime) -> Sighting:
    expires_at = lease.expires_at
    expiry = "never" if expires_at is None else f"{expires_at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
    return Sighting(
        source="lease",
        seen_at=now,
        name=lease.name,
        address=lease.address,
        mac=lease.mac,
        channel=f"lease file {path.name}",
        is_dated=False,
        details={"expires": expiry},
    )


def _read(path: Path, earlier: _Content) -> _Content:
    """Return what a file holds now; `earlier` itself where nothing has changed. Blocks: for a thread."""
    try:
        paths = _parts(path)
        stamp = tuple((str(one), _stamp(one)) for one in paths)
        if stamp == earlier.stamp:
            return earlier
        return _Content(stamp=stamp, table=leases_of(_joined(paths)))
    except FileNotFoundError:
        failure = f"there is no file {path}. Correct its name in site.toml under [discovery] leases"
    except UnknownFormatError as error:
        return _Content(stamp=stamp, failure=f"{path} holds no leases: {error}. Name the file of the DHCP server")
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error) or "no reason given"
        failure = f"{path} cannot be read ({reason.lower()}). Give the user of this program the right to read it"
    except _TooLargeError:
        failure = f"{path} has more than {MAX_FILE_BYTES // 2**20} MiB. Let the DHCP server clean it up"
    return _Content(failure=failure)


class _TooLargeError(Exception):
    """The file is larger than any lease file of a house."""


def _parts(path: Path) -> list[Path]:
    """Return the files to read, oldest first: for all but Kea the one that is named.

    Kea writes changes to the file that is named, and from time to time moves them on: to `.1` while it cleans them
    up together with what is in `.2`, which gives `.completed` and then the new `.2`. Its servers read them in this
    order, too (Kea Administrator Reference Manual, lease file cleanup); `.output` is unfinished.
    """
    if not _start(path).startswith((b"address,hwaddr,", b"address,duid,")):
        return [path]
    completed, previous, moved = (path.with_name(path.name + end) for end in (".completed", ".2", ".1"))
    older = [completed] if completed.exists() else [one for one in (previous, moved) if one.exists()]
    return [*older, path]


def _start(path: Path) -> bytes:
    return _content(path, 64)


def _joined(paths: Sequence[Path]) -> bytes:
    contents: list[bytes] = []
    for path in paths:
        content = _content(path, MAX_FILE_BYTES + 1)
        contents.append(content if not content or content.endswith(b"\n") or path == paths[-1] else content + b"\n")
        if sum(map(len, contents)) > MAX_FILE_BYTES:
            raise _TooLargeError
    return b"".join(contents)


def _content(path: Path, size: int) -> bytes:
    with open(path, "rb", opener=_open_at_once) as stream:
        if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
            raise OSError(None, "not a regular file")
        return stream.read(size)


def _open_at_once(path: str, flags: int) -> int:
    """Open without waiting for a writer where the name is that of a pipe."""
    return os.open(path, flags | os.O_NONBLOCK)


def _stamp(path: Path) -> tuple[int, int, int, int]:
    status = path.stat()
    return status.st_dev, status.st_ino, status.st_mtime_ns, status.st_size
