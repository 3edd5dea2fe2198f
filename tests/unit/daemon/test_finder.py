"""Where devices are, as that changes."""

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address, ip_network
from itertools import cycle
from pathlib import Path

import pytest

from pattress.daemon import finder as finder_module
from pattress.daemon.finder import Finder
from pattress.discovery import Sink
from pattress.model.device import Sighting
from pattress.model.site import Discovery, Networks, Site
from pattress.model.source import SourceReport
from pattress.store.store import Store
from unit.audit.test_run import empty_site

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
LAMP, BLIND = "02:00:5e:00:53:07", "02:00:5e:00:53:06"
AT = ip_address("10.20.0.7")


@pytest.fixture
def site(tmp_path: Path) -> Site:
    network = (ip_network("10.20.0.0/24"),)
    return replace(empty_site(tmp_path), networks=Networks(devices=network, inside=network))


def lease(mac: str, minutes: int) -> Sighting:
    at = NOON + timedelta(minutes=minutes)
    return Sighting(source="lease", seen_at=at, address=str(AT), mac=mac, is_dated=False)


async def owner(finder: Finder, site: Site) -> str:
    async with Store.open(site.folder / "house.db") as store:
        return (await finder.whereabouts(store)).owner(AT).device


async def test_an_address_is_that_of_whom_it_was_given_to_last(site: Site) -> None:
    finder = Finder(site, lambda: NOON)
    stale = NOON + timedelta(minutes=5)
    finder.add(Sighting(source="neighbour", seen_at=stale, address=str(AT), mac=BLIND, is_dated=False))
    owners = []

    for minutes, mac in enumerate((LAMP, BLIND, LAMP)):
        finder.add(lease(mac, minutes))
        owners.append(await owner(finder, site))

    assert owners == [f"mac:{LAMP}", f"mac:{BLIND}", f"mac:{LAMP}"]


async def test_an_address_that_goes_back_to_whom_it_belonged_to_is_noticed(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A source tells of each address and device once; here each life of it finds the other of two devices there."""
    macs, stop = cycle((LAMP, BLIND)), asyncio.Event()

    class Leases:
        def __init__(self, *_: object) -> None:
            self._mac = next(macs)

        async def listen(self, sink: Sink, stop_listening: asyncio.Event) -> Sequence[SourceReport]:
            sink(lease(self._mac, 0))
            owners.append(await owner(finder, site))
            if len(owners) >= 3:
                stop.set()
            await stop_listening.wait()
            return []

    monkeypatch.setattr(finder_module, "LeaseSource", Leases)
    monkeypatch.setattr(finder_module, "LOOK_ANEW_S", 0.0)
    discovery = Discovery(neighbours=False, lease_files=(Path("leases"),))
    finder, owners = Finder(replace(site, discovery=discovery), lambda: NOON), list[str]()

    async with asyncio.timeout(10):
        await finder.look(stop)

    assert owners[:3] == [f"mac:{LAMP}", f"mac:{BLIND}", f"mac:{LAMP}"]
