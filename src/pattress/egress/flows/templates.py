"""Templates: what the fields of data records are, and which templates an exporter has told.

What belongs here: a template, its place in memory, the templates of one stream. What does not: octets on the wire.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, NamedTuple

from pattress.egress.flows.fields import (
    RECEIVER_IPV4,
    RECEIVER_IPV6,
    REVERSE_ENTERPRISE,
    SENDER_IPV4,
    SENDER_IPV6,
    VARIABLE,
    is_usable,
)

FIRST_TEMPLATE: Final = 256  # RFC 7011 section 3.3.2: lower numbers are no templates
MAX_FIELDS: Final = (
    128  # exporters send 10 to 60; a template is then at most 6 + 128 * 8 = 1030 octets, 15 KiB when read
)
MAX_RECORD_OCTETS: Final = 65_507  # the payload of the largest UDP datagram over IPv4: a longer record cannot come
MAX_TEMPLATES: Final = 128  # of one stream; exporters send 1 to 20. At most 128 * 15 KiB = 1.9 MiB a stream


class Field(NamedTuple):
    """One field of a template. `length` is in octets, or `VARIABLE`; `enterprise` is 0 for IANA's elements."""

    element: int
    length: int
    enterprise: int = 0


class Place(NamedTuple):
    """Where a field is in a record whose fields of variable length were left out."""

    offset: int
    length: int


class Withdrawal(NamedTuple):
    """What an exporter takes back: one template, or with `template` None all of the kind."""

    template: int | None
    is_options: bool


@dataclass(slots=True, eq=False)
class Template:
    """A template. `record` is how it came, `at` when it last came.

    `places` says by element, and whether of the reverse direction, where the fields that we use are. `runs` are the
    lengths of what stands before, between and after the fields of variable length; for a template that has none it is
    the one length of all its records.
    """

    id: int
    is_options: bool
    record: bytes
    at: datetime
    places: dict[tuple[int, bool], Place]
    runs: tuple[int, ...]
    fixed_length: int = field(init=False)
    has_ipv4: bool = field(init=False)
    has_ipv6: bool = field(init=False)

    def __post_init__(self) -> None:
        self.fixed_length = sum(self.runs)
        self.has_ipv4 = (SENDER_IPV4, False) in self.places and (RECEIVER_IPV4, False) in self.places
        self.has_ipv6 = (SENDER_IPV6, False) in self.places and (RECEIVER_IPV6, False) in self.places

    @property
    def is_variable(self) -> bool:
        """Whether records differ in length."""
        return len(self.runs) > 1

    @property
    def least_length(self) -> int:
        """The octets of the shortest record: a field of variable length takes at least one, for its length."""
        return self.fixed_length + len(self.runs) - 1


def template_of(
    template: int, fields: list[Field], *, is_options: bool, record: bytes, at: datetime, scopes: int = 0
) -> Template | None:
    """Return the template, or None where it is over a bound or describes no octets at all.

    The first `scopes` fields say what an options record is about; their numbers may mean something else (RFC 3954
    section 6.1), so that none of them is used.
    """
    if template < FIRST_TEMPLATE or len(fields) > MAX_FIELDS:
        return None
    places: dict[tuple[int, bool], Place] = {}
    runs = [0]
    offset = 0
    for index, (element, length, enterprise) in enumerate(fields):
        if length == VARIABLE:
            runs.append(0)
            continue
        if index >= scopes and enterprise in (0, REVERSE_ENTERPRISE) and is_usable(element, length):
            # RFC 7011 section 8: an element may repeat; the first is the outermost.
            places.setdefault((element, enterprise == REVERSE_ENTERPRISE), Place(offset, length))
        runs[-1] += length
        offset += length
    found = Template(template, is_options, record, at, places, tuple(runs))
    return found if 1 <= found.least_length <= MAX_RECORD_OCTETS else None


class Templates:
    """The templates of one stream, by their numbers."""

    def __init__(self) -> None:
        self._known: dict[int, Template] = {}
        self.get = self._known.get

    def __iter__(self) -> Iterator[Template]:
        return iter(self._known.values())

    def learn(self, told: Template) -> bool:
        """Take in a template, and say whether there was room; the one that was told longest ago makes room.

        One that is told again unchanged stays the same object, so that its records go on being decoded together.
        """
        known = self._known.get(told.id)
        if known is not None and known.record == told.record and known.is_options == told.is_options:
            known.at = told.at
            return True
        had_room = known is not None or len(self._known) < MAX_TEMPLATES
        if not had_room:
            del self._known[min(self._known.values(), key=lambda template: template.at).id]
        self._known[told.id] = told
        return had_room

    def withdraw(self, withdrawal: Withdrawal) -> None:
        """Forget a template, or all of a kind (RFC 7011 section 8.1). One that is not known is no matter."""
        for template in list(self._known.values()):
            if template.is_options == withdrawal.is_options and withdrawal.template in (None, template.id):
                del self._known[template.id]
