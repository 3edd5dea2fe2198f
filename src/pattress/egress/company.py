"""Whom a device calls inside: a known device that suddenly calls many hosts or ports is looking for something.

What belongs here: counting by the hour, and the comparison with the past. What does not: the way to the outside.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from pattress.model.addresses import IPAddress
from pattress.model.encounter import Company

PAST = timedelta(days=60)  # with which an hour is compared
LEARNING = timedelta(days=7)  # of a device's past before it is judged: a week holds its weekly habits
MAX_DEVICES = 2_048  # with the caps below at most 70 kB each for the few that scan; some 2 kB for all others
MAX_HOSTS = 512  # of one device in one hour; what is beyond is not counted, and far beyond every limit
MAX_PORTS = 64  # of one host; likewise
LEAST_HOSTS = 10  # below which no number of hosts is remarkable
LEAST_PORTS = 20  # likewise of ports of one host
TIMES_BEFORE = 3  # as many as ever before


class CompanyTable:
    """Which hosts and ports each device called in the present hour. The time is that of the evidence."""

    def __init__(self) -> None:
        self._hours: dict[str, tuple[datetime, dict[IPAddress, set[int]]]] = {}
        self._changed: set[str] = set()

    def call(self, device: str, host: IPAddress, port: int | None, at: datetime) -> None:
        """Take note that a device called a host of the inside. What is sent to many at once is no call."""
        if host.is_multicast or host.is_unspecified:
            return
        hosts = self._hosts(device, at.replace(minute=0, second=0, microsecond=0))
        if hosts is None:
            return
        ports = hosts.get(host)
        if ports is None:
            if len(hosts) >= MAX_HOSTS:
                return
            ports = hosts[host] = set()
            self._changed.add(device)
        if port is not None and port not in ports and len(ports) < MAX_PORTS:
            ports.add(port)
            self._changed.add(device)

    def take_changed(self) -> list[Company]:
        """Return the present hour of each device that called somebody new since this was last asked."""
        changed, self._changed = self._changed, set()
        return [self._company(device) for device in sorted(changed)]

    def _hosts(self, device: str, hour: datetime) -> dict[IPAddress, set[int]] | None:
        """Return what a device called in an hour, begun anew with the hour; None where too many others do."""
        began, hosts = self._hours.get(device, (None, {}))
        if began == hour:
            return hosts
        self._hours.pop(device, None)
        if len(self._hours) >= MAX_DEVICES:
            oldest, (began, _) = next(iter(self._hours.items()))  # in the order in which their hours began
            if began == hour:
                return None
            del self._hours[oldest]
            self._changed.discard(oldest)
        self._hours[device] = (hour, {})
        return self._hours[device][1]

    def _company(self, device: str) -> Company:
        hour, hosts = self._hours[device]
        most = max((len(ports) for ports in hosts.values()), default=0)
        return Company(device=device, hour=hour, hosts=len(hosts), ports=most)


def unlike_before(now: Company, past: Iterable[Company]) -> str | None:
    """Return in words how an hour is unlike all of a device's past, or None: also where too little past is known."""
    before: Sequence[Company] = [one for one in past if one.device == now.device and one.hour < now.hour]
    if not before or now.hour - min(one.hour for one in before) < LEARNING:
        return None
    most_hosts, most_ports = max(one.hosts for one in before), max(one.ports for one in before)
    if now.hosts > max(LEAST_HOSTS, TIMES_BEFORE * most_hosts):
        return f"it called {now.hosts} hosts of the inside within an hour; never more than {most_hosts} before"
    if now.ports > max(LEAST_PORTS, TIMES_BEFORE * most_ports):
        return f"it called {now.ports} ports of one host within an hour; never more than {most_ports} before"
    return None
