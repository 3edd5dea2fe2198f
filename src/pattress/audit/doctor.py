"""The doctor: what in this host's set-up would make an audit blind, each with the remedy.

What belongs here: one look for each thing that an audit needs of its host, most of them with a canary of its own. What
does not: devices.
"""

import asyncio
import ctypes
import secrets
import sqlite3
import stat
import sys
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

from pattress.audit.doctor_watch import examine_watching
from pattress.audit.session import Clock
from pattress.discovery.canary import mdns_canary
from pattress.discovery.interfaces import chosen_interfaces
from pattress.model.diagnosis import Diagnosis
from pattress.model.errors import StoreError
from pattress.model.profile import Profile
from pattress.model.site import Broker, Site
from pattress.store.store import Store
from pattress.wire.mqtt import MqttLink
from pattress.wire.reach import interface_addresses

BROKER_S = 5.0
STA_UNSYNC = 0x0040  # adjtimex(2): the clock is not synchronised
# Before it a checkpoint of one connection can race with a writer of another (sqlite.org/wal.html#walresetbug).
SQLITE_WITHOUT_RACE = (3, 51, 3)


async def examine(site: Site, clock: Clock) -> list[Diagnosis]:
    """Return one diagnosis for each thing that an audit of this site needs of this host."""
    found = [*_secret_files(site), await _store(site.folder / site.store_file), _sqlite(), _clock()]
    found.extend(_interfaces(site))
    if site.uses_mdns:
        for interface in chosen_interfaces(site.networks):
            found.append(await _mdns(interface, clock))
    for broker in site.brokers:
        found.extend([diagnosis async for diagnosis in _broker(broker)])
    if not site.brokers and any(profile.recognise_mqtt for profile in _planned_profiles(site)):
        found.append(
            Diagnosis(
                name="broker",
                title="The broker is named",
                outcome="broken",
                found="the plan has modules that announce themselves over MQTT, and site.toml names no broker",
                remedy="Add a [[broker]] to site.toml.",
            )
        )
    return [*found, *await examine_watching(site, site.folder / site.store_file, clock())]


def _planned_profiles(site: Site) -> Iterator[Profile]:
    for point in site.plan.points:
        profile = site.profile(point.kind)
        if profile is not None:
            yield profile


def _secret_files(site: Site) -> Iterator[Diagnosis]:
    """Whether anybody else on this host can read the passwords."""
    folder = site.folder / "secrets"
    if not folder.is_dir():
        return
    open_ones = []
    try:
        for path in [folder, *sorted(folder.iterdir())]:
            if stat.S_IMODE(path.stat().st_mode) & 0o077:
                open_ones.append(path.name)
    except OSError as error:
        yield Diagnosis(
            name="secrets",
            title="Passwords are readable by their owner only",
            outcome="unverified",
            found=f"{folder} cannot be looked into: {error.strerror}",
            remedy="Run the doctor as the owner of the site's files.",
        )
        return
    yield Diagnosis(
        name="secrets",
        title="Passwords are readable by their owner only",
        outcome="broken" if open_ones else "met",
        found=f"others may read {', '.join(open_ones)}" if open_ones else "they are",
        remedy=f"chmod 700 {folder}; chmod 600 {folder}/*",
    )


async def _store(path: Path) -> Diagnosis:
    try:
        async with Store.open(path):
            pass
    except StoreError as error:
        return Diagnosis(
            name="store",
            title="The database can be written",
            outcome="broken",
            found=error.what,
            remedy=error.next_step,
        )
    return Diagnosis(name="store", title="The database can be written", outcome="met", found=str(path))


def _sqlite() -> Diagnosis:
    is_safe = sqlite3.sqlite_version_info >= SQLITE_WITHOUT_RACE
    return Diagnosis(
        name="sqlite",
        title="SQLite has no known fault that concerns us",
        outcome="met" if is_safe else "unverified",
        found=f"version {sqlite3.sqlite_version}"
        + ("" if is_safe else ", in which two processes that write at once can, very rarely, harm the database"),
        remedy="Do not run two audits at once, keep backups (`pattress store backup`), and update SQLite when you can.",
    )


def _clock() -> Diagnosis:
    """Whether the kernel holds its clock for synchronised (adjtimex(2))."""
    title = "The clock is right"
    status = _kernel_clock_status()
    if status is None:
        return Diagnosis(
            name="clock",
            title=title,
            outcome="unverified",
            found="this system does not say",
            remedy="Run an NTP client.",
        )
    is_right = not status & STA_UNSYNC
    return Diagnosis(
        name="clock",
        title=title,
        outcome="met" if is_right else "broken",
        found="the kernel says that it is synchronised" if is_right else "the kernel says that it is not synchronised",
        remedy="Run an NTP client (systemd-timesyncd, chrony): ages, waivers and the modules' clocks are judged by it.",
    )


def _kernel_clock_status() -> int | None:
    if sys.platform != "linux":
        return None
    longs = ctypes.c_long * 40  # struct timex is 26 longs or fewer on every Linux; read only, since modes is 0
    timex = longs()
    if ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.byref(timex)) < 0:
        return None
    # modes, offset, freq, maxerror, esterror, status: the ints `modes` and `status` are padded before a long.
    return timex[5] & 0xFFFFFFFF


def _interfaces(site: Site) -> Iterator[Diagnosis]:
    chosen = chosen_interfaces(site.networks)
    networks = ", ".join(str(network) for network in site.networks.devices)
    title = "This host is on the device network"
    if chosen:
        here = [f"{name} ({address})" for name, address in interface_addresses() if {name, str(address)} & set(chosen)]
        found = ", ".join(here) or f"none of {', '.join(chosen)} is there"
        yield Diagnosis(
            name="network",
            title=title,
            outcome="met" if here else "broken",
            found=found,
            remedy="Correct [networks] interfaces in site.toml, or bring the interface up.",
        )
        return
    yield Diagnosis(
        name="network",
        title=title,
        outcome="broken",
        found=f"no interface has an address in {networks}",
        remedy="Give this host an interface on the VLAN, or correct [networks] devices in site.toml. Without one "
        "neither mDNS nor the neighbour table tells of devices there.",
    )


async def _mdns(interface: str, clock: Clock) -> Diagnosis:
    failure = await mdns_canary(interface, clock)
    return Diagnosis(
        name="mdns",
        title=f"mDNS works on {interface}",
        outcome="met" if failure is None else "broken",
        found=failure
        or "this host hears its own announcement; whether switches carry multicast only a device can show",
        remedy="See that port 5353 is shared by whoever else uses it, that the interface has multicast and a route "
        "for it, and that no firewall drops it.",
    )


async def _broker(broker: Broker) -> AsyncIterator[Diagnosis]:
    title = f"The broker {broker.name} lets us in"
    async with MqttLink(broker) as link:
        if not await link.connected(within_s=BROKER_S):
            yield Diagnosis(
                name="broker",
                title=title,
                outcome="broken",
                found=link.failure or f"no answer within {BROKER_S:g} s",
                remedy="See that it runs, and that host, port, user, password and CA in site.toml are right.",
            )
            return
        yield Diagnosis(name="broker", title=title, outcome="met", found=f"{broker.host} port {broker.port}")
        topic = f"pattress/canary/{secrets.token_hex(6)}"
        heard = asyncio.Event()
        link.subscribe(topic, lambda _: heard.set())
        try:
            async with asyncio.timeout(BROKER_S):
                while not heard.is_set():
                    link.publish(topic, b"canary")
                    try:
                        async with asyncio.timeout(1.0):
                            await heard.wait()
                    except TimeoutError:
                        continue
        except TimeoutError:
            pass
        yield Diagnosis(
            name="broker-delivers",
            title=f"The broker {broker.name} delivers what is published",
            outcome="met" if heard.is_set() else "unverified",
            found="our own message came back" if heard.is_set() else "our own message did not come back",
            remedy="Brokers grant a subscription that an access list forbids, and deliver nothing: allow our user to "
            "read the modules' topics (and pattress/canary/# for this proof).",
        )
