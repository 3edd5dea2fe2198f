"""The plan: what the points of a site are meant to be."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from pattress.model.circuit import Circuit, Drive
from pattress.model.vocabulary import Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A place where a module is (to be) fitted.

    `mac`, `serial` or `announced` says which device it is; all None where that is not known yet. `settings` are the
    planned values by concrete name (`input.1.action`). `certificate_sha256` pins the module's TLS certificate.
    `circuit` is what the module is to be wired into, `drives` what its inputs are to drive.
    """

    name: str
    room: str
    kind: str
    mac: str | None = None
    serial: str | None = None
    announced: str | None = None
    address: str | None = None
    settings: Mapping[str, Value] = field(default_factory=dict)
    certificate_sha256: str | None = None
    remark: str | None = None
    circuit: Circuit | None = None
    drives: tuple[Drive, ...] = ()

    @property
    def is_bound(self) -> bool:
        """Whether the plan says which device stands here."""
        return (self.mac or self.serial or self.announced) is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherDevice:
    """A device on the device networks that is no module and may be there: a camera, a bridge, the broker."""

    name: str
    reason: str
    mac: str | None = None
    serial: str | None = None
    announced: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Every point of a site, and every other device that may be there."""

    points: tuple[Point, ...] = ()
    others: tuple[OtherDevice, ...] = ()
