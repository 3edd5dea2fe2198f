"""Every failure that is raised on purpose. Each says what happened, where, and what to do next."""

from collections.abc import Sequence
from dataclasses import dataclass


class PattressError(Exception):
    """Base of every failure raised on purpose; the command line prints it without a traceback."""

    def __init__(self, what: str, *, where: str, next_step: str) -> None:
        super().__init__(f"{where}: {what}. {next_step}")
        self.what = what
        self.where = where
        self.next_step = next_step


def reason_of(error: OSError) -> str:
    """Return why the system refused something, in the small letters that fit into a sentence."""
    return (error.strerror or str(error) or "no reason given").lower()


class UsageError(PattressError):
    """The command was asked for something that does not exist; other words are needed."""


class DeviceError(PattressError):
    """A device, or the way to it, failed; look at the device."""


class BrokerError(PattressError):
    """The MQTT broker failed or refused us; look at the broker."""


class StoreError(PattressError):
    """The database cannot be used; nothing that was kept is lost."""


class ReportError(PattressError):
    """A report could not be written where it was asked for; what it would have told is kept in the database."""


class CaptureError(PattressError):
    """A file of captured traffic cannot be read; look at the file, or capture anew."""


class CircuitError(PattressError, ValueError):
    """A number or a word that a question about a circuit was asked with cannot be; correct it and ask again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One mistake in one file that a person writes.

    `line` counts from 1 and is None where the mistake belongs to the whole file.
    """

    file: str
    line: int | None
    place: str
    found: str
    expected: str
    nearest: str | None = None

    def __str__(self) -> str:
        where = self.file if self.line is None else f"{self.file}, line {self.line}"
        place = f": {self.place}" if self.place else ""
        hint = f" Did you mean {self.nearest}?" if self.nearest else ""
        return f"{where}{place}: found {self.found}, expected {self.expected}.{hint}"


class SiteFileError(PattressError):
    """One or more files that a person writes are wrong; every fault of them is reported together."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        files = sorted({fault.file for fault in faults})
        super().__init__(
            count, where=", ".join(files), next_step="Correct each line that is named and run the command again"
        )
        self.faults = tuple(faults)
