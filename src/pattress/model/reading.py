"""What reading a device at one moment gave."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from pattress.model.vocabulary import Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """One value that a device reported, and where it was read from (URL and path in the document, or MQTT topic)."""

    value: Value
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadError:
    """One setting, or one document, that could not be read, beside others that could."""

    subject: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """The settings of a device at one moment, by their names in the vocabulary.

    `is_live` is False where all of it is retained messages, which may outlive the device.
    `address` is where it answered over HTTP, with the announced port.
    """

    device: str
    kind: str
    taken_at: datetime
    duration_s: float
    values: Mapping[str, Reported]
    errors: tuple[ReadError, ...] = ()
    is_live: bool = True
    address: tuple[str, int | None] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unreadable:
    """A device that gave no usable answer. A result, not an exception: silence must never look like compliance."""

    device: str
    kind: str | None
    taken_at: datetime
    reason: str


Reading = Snapshot | Unreadable
