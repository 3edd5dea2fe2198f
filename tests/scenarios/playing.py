"""A scenario, played to the desk step by step as time goes by, kept, and judged as an audit does."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from pattress.audit.outlook import outlook_of
from pattress.daemon.desk import Desk, Taken, added_up
from pattress.daemon.watch import Watch
from pattress.egress.connections import connection_of
from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.evidence import FlowEvidence
from pattress.egress.space_bulk import BulkSpace
from pattress.egress.whereabouts import Whereabouts
from pattress.identity import merge
from pattress.lab.flow_messages import Flow, FlowEncoder
from pattress.model.device import Sighting
from pattress.model.encounter import Alert, Company, Encounter, Hearing, Told
from pattress.model.finding import Finding, Subject
from pattress.model.reading import Reading, Reported, Snapshot
from pattress.model.site import Site
from pattress.model.watching import WatchSource
from pattress.policy.outside import device_findings
from pattress.site.load import load_site
from pattress.store.store import Store
from scenarios.shapes import Scenario, StepShape

ROUTER, HUB, OWN = "192.0.2.1", "192.0.2.3", "192.0.2.2"
TICK = timedelta(minutes=1)
AFTER = timedelta(minutes=3)  # longer than anything waits for its other direction
BACKGROUND = timedelta(minutes=10)

NETWORKS = """
devices = ["192.0.2.0/24", "2001:db8:7::/64"]
inside = ["198.51.100.0/24", "2001:db8:8::/64"]
outside = ["203.0.113.0/24", "2001:db8:bad::/48"]
"""
WATCH = """
[watch]
flows_at = "192.0.2.2:4739"
syslog_at = "192.0.2.2:5514"
[[watch.source]]
name = "router-flows"
kind = "flows"
from = ["192.0.2.1"]
[[watch.source]]
name = "router-log"
kind = "firewall"
from = ["192.0.2.1"]
prefix = { "iot-drop" = "dropped", "iot-pass" = "let-through" }
[[watch.source]]
name = "resolver"
kind = "names"
file = "dnsmasq.log"
"""
DEVICES = {
    "hall-lights": ("00:00:5e:00:53:11", "192.0.2.11", "2001:db8:7::11", "brackenvolt-twin"),
    "kitchen-worktop": ("00:00:5e:00:53:12", "192.0.2.12", "2001:db8:7::12", "brackenvolt-gauge"),
    "boiler-call": ("00:00:5e:00:53:13", "192.0.2.13", "2001:db8:7::13", "brackenvolt-dry"),
    "hub": ("00:00:5e:00:53:03", HUB, "2001:db8:7::3", None),
}


@dataclass(slots=True, kw_only=True)
class Played:
    """What a scenario came to."""

    at_once: list[Alert] = field(default_factory=list)
    daily: Sequence[Told] = ()
    told: dict[tuple[str, str, str], Told] = field(default_factory=dict)
    encounters: Sequence[Encounter] = ()
    hearings: Sequence[Hearing] = ()
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


async def played(scenario: Scenario, folder: Path) -> Played:
    """Play a scenario with a site and a store in a folder of its own."""
    async with Store.open(folder / "pattress.db") as store:
        player = _Player(scenario, site_of(scenario, folder), store)
        await player.keep_past()
        await player.play()
        return await player.result()


def site_of(scenario: Scenario, folder: Path) -> Site:
    """Return the site of a scenario, read from files as any other."""
    for name, text in scenario.files.items():
        (folder / name).write_text(text, encoding="utf-8")
    networks = NETWORKS if scenario.networks is None else scenario.networks
    watch = WATCH if scenario.watch is None else scenario.watch
    head = 'name = "A house of a scenario"\npolicy = "isolated-house"\n[discovery]\nmdns = false\n[networks]\n'
    (folder / "site.toml").write_text(f"{head}{networks}\n{watch}\n{scenario.more}", encoding="utf-8")
    (folder / "points.toml").write_text("\n".join(_points()), encoding="utf-8")
    return load_site(folder, today=date(2026, 3, 1), builtin_rules={})


def _points() -> Iterator[str]:
    for name, (mac, _, _, kind) in DEVICES.items():
        if kind is None:
            yield f'[[other]]\nname = "{name}"\nreason = "It switches the house."\nmac = "{mac}"'
        else:
            yield f'[[point]]\nname = "{name}"\nroom = "Hall"\nkind = "{kind}"\nmac = "{mac}"'


class _Player:
    def __init__(self, scenario: Scenario, site: Site, store: Store) -> None:
        self._scenario = scenario
        self._site = site
        self._store = store
        self.now = scenario.begins
        self._sightings = [
            Sighting(source="neighbour", seen_at=self.now, mac=mac, address=address)
            for mac, *addresses, _ in DEVICES.values()
            for address in addresses
        ]
        self._desk = Desk(site, self._whereabouts())
        self._watch = Watch(site, store, _Notes(), lambda: self.now)
        sources = {sender: one for one in site.watching.sources if one.kind == "flows" for sender in one.senders}
        self._decoder = FlowDecoder()
        self._flows = FlowEvidence(sources, self._desk.tallies, self._decoder, BulkSpace(self._desk.space))
        self._encoders: dict[tuple[int, int], FlowEncoder] = {}
        self._taken: Taken | None = None
        self._played = Played()

    async def keep_past(self) -> None:
        """Keep what the scenario says of the time before."""
        past = self._scenario.past
        if past is not None:
            device = _id(past.device)
            before = [
                Company(device=device, hour=self.now - timedelta(days=days), hosts=past.hosts, ports=past.ports)
                for days in range(1, past.days + 1)
            ]
            await self._store.keep_encounters([], [], before)

    async def play(self) -> None:
        """Let the steps happen in their order; in between time goes by."""
        await self._take()
        for at, step in _in_order(self._scenario):
            await self._pass_until(self._scenario.begins + at)
            self._do(step)
            await self._take()
        await self._pass_until(max(self.now, self._scenario.begins + self._scenario.lasts) + AFTER)
        self._played.daily = self._desk.book.daily(self.now)
        await self._take()
        assert self._desk.take(self.now, is_last=True).alerts == [], "nothing still waited"

    async def result(self) -> Played:
        """Keep what came, and judge what is kept."""
        taken = self._taken
        assert taken is not None
        await self._store.keep_encounters(taken.encounters, taken.hearings, taken.company, told=taken.told)
        self._played.told = {(one.kind, self._title(one.device), one.place): one for one in await self._store.told()}
        outlook = await outlook_of(self._site, self._store, self.now)
        assert outlook is not None
        outlook = replace(outlook, since=min(self._scenario.begins, self.now))
        self._played.encounters, self._played.hearings = outlook.encounters, outlook.hearings
        titles = {_id(name): name for name, (*_, kind) in DEVICES.items() if kind is not None}
        for device in sorted({*titles, *(one.device for one in outlook.encounters)}):
            point = titles.get(device)
            subject = Subject(point=point, device=device, device_title=self._title(device))
            found = device_findings(outlook, subject, [device], self._reading(device), is_planned=point is not None)
            self._played.findings.extend(found)
        return self._played

    def _reading(self, device: str) -> Reading:
        is_off = device in [_id(name) for name in self._scenario.cloud_off]
        values = {"cloud.enabled": Reported(value=not is_off, origin="a document")}
        return Snapshot(device=device, kind="brackenvolt-twin", taken_at=self.now, duration_s=0.1, values=values)

    def _title(self, device: str) -> str:
        known = next((name for name in DEVICES if _id(name) == device), None)
        return known or device.removeprefix("address:")

    def _whereabouts(self) -> Whereabouts:
        return Whereabouts(self._site.plan, merge(self._sightings).devices, [ip_address(OWN)])

    async def _pass_until(self, moment: datetime) -> None:
        """Let time go by, with what goes on inside the house all day; a moment that is past is a clock set back."""
        while self.now + TICK < moment:
            self.now += TICK
            if not self._scenario.quiet and (self.now - self._scenario.begins) % BACKGROUND == TICK:
                self._go_on()
            await self._take()
        self.now = moment
        await self._take()

    def _go_on(self) -> None:
        """A module keeps its connection to the broker, and asks for a name of the house."""
        flow = Flow(
            sender=ip_address("192.0.2.11"), receiver=ip_address(HUB), sender_port=50_010, receiver_port=1883,
            packets=4, octets=300, flags=0x18, back=(4, 260, 0x18), began_at=self.now - TICK, ended_at=self.now,
        )  # fmt: skip
        sources = {one.name: one for one in self._site.watching.sources}
        if "router-flows" in sources:
            encoder = self._encoder(10, 39_999, None)
            self._hear([("192.0.2.1", 39_999, one) for one in encoder.messages([flow], self.now)])
        if "resolver" in sources:
            self._line(sources["resolver"], f"{_stamp(self.now)} dnsmasq[9]: query[A] hub.home.arpa from 192.0.2.11")

    def _do(self, step: StepShape) -> None:
        if step.moved is not None:
            mac = DEVICES[step.moved.device][0]
            self._sightings.insert(
                0, Sighting(source="neighbour", seen_at=self.now, mac=mac, address=step.moved.address)
            )
            self._desk.know(self._whereabouts())
        elif step.lines is not None:
            source = self._source(step)
            for line in step.lines.strip("\n").splitlines():
                text = line.replace("{stamp}", _stamp(self.now)).replace("{iso}", self.now.isoformat())
                self._line(source, text, by_syslog=step.way == "syslog")
        else:
            self._export(step)

    def _source(self, step: StepShape) -> WatchSource:
        name = step.source or "router-log"
        return next(one for one in self._site.watching.sources if one.name == name)

    def _line(self, source: WatchSource, text: str, *, by_syslog: bool = False) -> None:
        self._desk.tallies.of(source.name).heard += 1
        if source.kind == "connections":
            connection = connection_of(text, source.name, self.now)
            if connection is not None:
                self._desk.evidence(connection.traffic)
        elif by_syslog:
            self._desk.message(source, text.encode(), self.now)
        else:
            self._desk.line(source, text, self.now)

    def _export(self, step: StepShape) -> None:
        if step.restarted:
            self._encoders.pop((step.version, step.port), None)
        encoder = self._encoder(step.version, step.port, step.sampling)
        messages = encoder.messages([one.flow(self.now) for one in step.flows], self.now, templates=step.templates)
        if step.datagrams == "twice":
            messages = [*messages, *messages]
        elif step.datagrams == "in reverse":
            messages = messages[::-1]
        sender = next(
            str(one.senders[0]) for one in self._site.watching.sources if one.name == (step.source or "router-flows")
        )
        # One by one, as they would come when little happens.
        for message in messages:
            self._hear([(sender, step.port, message)])

    def _encoder(self, version: int, port: int, sampling: int | None) -> FlowEncoder:
        if (version, port) not in self._encoders:
            assert version in (5, 9, 10)
            self._encoders[version, port] = FlowEncoder(
                version=version,  # type: ignore[arg-type]
                started_at=self.now - timedelta(hours=5),
                sampling=sampling,
            )
        return self._encoders[version, port]

    def _hear(self, datagrams: list[tuple[str, int, bytes]]) -> None:
        for _, traffic, calls in self._flows.of(datagrams, self.now):
            for one in traffic:
                self._desk.evidence(one)
            self._desk.calls(calls, self.now)

    async def _take(self) -> None:
        taken = self._desk.take(self.now)
        self._played.at_once += taken.alerts
        self._taken = taken if self._taken is None else added_up(self._taken, taken)
        for company in taken.company:
            await self._watch._compare(self._desk, company)


class _Notes:
    """The comparison tells nobody itself."""

    def alert(self, alert: Alert, owner: object, *, says_off: bool) -> None:
        raise AssertionError(alert)

    def daily(self, due: object) -> None:
        raise AssertionError(due)

    def note(self, text: str) -> None:
        raise AssertionError(text)


def _in_order(scenario: Scenario) -> list[tuple[timedelta, StepShape]]:
    """The steps in the order of the file, which a clock that is set back needs; repeated ones where they belong."""
    steps = [(step.at + number * step.every, step) for step in scenario.step for number in range(step.again + 1)]
    return sorted(steps, key=lambda one: one[0]) if any(step.again for step in scenario.step) else steps


def _id(name: str) -> str:
    return f"mac:{DEVICES[name][0]}" if name in DEVICES else f"address:{name}"


def _stamp(at: datetime) -> str:
    at = at.astimezone(UTC)
    return f"{at:%b} {at.day:2} {at:%H:%M:%S}"
