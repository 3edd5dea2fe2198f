"""What a site says of watching the way to the outside: sources, what is allowed, how a person is told.

What belongs here: the nouns. What does not: reading them from files, listening, judging.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from pattress.model.addresses import IPAddress, IPNetwork
from pattress.model.encounter import Verdict

WatchKind = Literal["flows", "firewall", "names", "connections"]
"""Flow export over UDP; log lines of a packet filter; the log of a resolver; this host's own connection table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchSource:
    """One source of evidence.

    `senders` are the addresses that it sends from: of flow export, or of log lines by syslog. Instead of them, log
    lines may come from a `file` or from the `journal` (`kernel`, or the name of a unit). `verdicts` says by the prefix
    of a firewall rule what the rule does; `pattern` is a regular expression for the lines of a resolver that is not
    known, with the groups `asker` and `name` (optional: `type`, `answer`). Where `is_after_filter`, what the source
    sees has been let through. It counts as silent after `silent_after_s` without a word.
    """

    name: str
    kind: WatchKind
    senders: tuple[IPAddress, ...] = ()
    file: Path | None = None
    journal: str | None = None
    verdicts: Mapping[str, Verdict] = field(default_factory=dict)
    pattern: str | None = None
    is_after_filter: bool = False
    silent_after_s: float = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """Something outside that devices may have to do with, and why.

    Where to: a `network`, a `name` (exact, or `*.` and a domain for every name below it), or neither for anywhere.
    `ports` and `protocol` narrow it. For whom: a `point` or a `kind`, or neither for every device. Where it
    `is_inbound`, the outside may begin, too.
    """

    reason: str
    network: IPNetwork | None = None
    name: str | None = None
    ports: tuple[tuple[int, int], ...] = ()
    protocol: int | None = None
    point: str | None = None
    kind: str | None = None
    is_inbound: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MudFile:
    """A Manufacturer Usage Description (RFC 8520) for a point or a kind: the parsed JSON of `file`."""

    file: str
    document: Mapping[str, Any]
    point: str | None = None
    kind: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """Where to listen on the network: a host and a port each, or None. Syslog comes by UDP and TCP at once."""

    flows: tuple[str, int] | None = None
    syslog: tuple[str, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Watching:
    """All of it. Where not `tells_tried_at_once`, what was tried is gathered into one message a day."""

    listening: Listening = field(default_factory=Listening)
    sources: tuple[WatchSource, ...] = ()
    allowances: tuple[Allowance, ...] = ()
    mud_files: tuple[MudFile, ...] = ()
    tells_tried_at_once: bool = False
