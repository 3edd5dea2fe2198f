"""A site as its files describe it: networks, brokers, credentials, limits, plan, policy, profiles and waivers."""

from dataclasses import dataclass, field
from pathlib import Path

from pattress.model.addresses import IPNetwork
from pattress.model.plan import Plan
from pattress.model.profile import Profile
from pattress.model.rules import Policy, Waiver
from pattress.model.tables import Tables
from pattress.model.watching import Watching


class Secret:
    """A password or token. It shows itself to nobody: not in a message, a `repr`, a log line or a report."""

    __slots__ = ("_text",)

    def __init__(self, text: str) -> None:
        self._text = text

    def reveal(self) -> str:
        """Return the secret, for the one place that sends it."""
        return self._text

    def __repr__(self) -> str:
        return "Secret(...)"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Secret) and other._text == self._text

    def __hash__(self) -> int:
        return hash(self._text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Networks:
    """Where devices may be, what counts as inside, and on which interfaces devices are listened for.

    `inside` holds every network of the site, `devices` among them; `outside` networks that are to count as outside
    though they are not of the Internet; `names` the domains whose names lead inside.
    `interfaces` are names or addresses; with none given, each interface with an address in `devices` is used.
    """

    devices: tuple[IPNetwork, ...]
    inside: tuple[IPNetwork, ...]
    outside: tuple[IPNetwork, ...] = ()
    names: tuple[str, ...] = ("local", "home.arpa", "internal")  # RFC 6762, RFC 8375, and ICANN's reservation of 2024
    interfaces: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """The local MQTT broker."""

    name: str
    host: str
    port: int
    user: str | None = None
    password: Secret | None = None
    uses_tls: bool = False
    ca_file: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Credential:
    """What to show a device. It is for one point, one kind, or (both None) every device that asks."""

    secret: Secret
    user: str | None = None
    kind: str | None = None
    point: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How long to listen and to wait, in seconds, and how many devices to read at once."""

    listen_s: float = 4.0
    answer_s: float = 5.0
    device_s: float = 30.0
    at_once: int = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Discovery:
    """How devices are looked for beside their own announcements.

    `neighbours` is by the kernel's neighbour tables, `lease_files` those of the DHCP servers. A sweep sends one small
    datagram to every address of the device networks, `sweep_per_s` of them a second, so that the kernel looks for it.
    """

    neighbours: bool = True
    lease_files: tuple[Path, ...] = ()
    sweeps: bool = False
    sweep_per_s: int = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """One house or venue. `tables` are None only where it was not made from its files.

    `page_url` is where its pages are, without a slash at the end; None where it has none.
    """

    name: str
    folder: Path
    networks: Networks
    plan: Plan
    policy: Policy
    profiles: tuple[Profile, ...]
    brokers: tuple[Broker, ...] = ()
    credentials: tuple[Credential, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    limits: Limits = field(default_factory=Limits)
    uses_mdns: bool = True
    discovery: Discovery = field(default_factory=Discovery)
    watching: Watching = field(default_factory=Watching)
    device_ca_file: Path | None = None
    store_file: Path = Path("pattress.db")
    page_url: str | None = None
    tables: Tables | None = None

    def profile(self, kind: str | None) -> Profile | None:
        """Return the profile of a kind, or None."""
        return next((profile for profile in self.profiles if profile.id == kind), None)
