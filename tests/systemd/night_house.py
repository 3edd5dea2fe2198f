"""Keeps the emulated house running, its site in /etc/pattress as the nightly audit wants it, until its input ends.

Run as a program, on a host of its own. Prints, once it is up, what an audit must find.
"""

import asyncio
import json
import sys
from datetime import UTC, datetime
from pathlib import Path

from pattress.lab.faults import DEMO_FAULTS, FAULTS
from pattress.lab.run import EmulatedHouse
from pattress.lab.site import write_site

SITE = Path("/etc/pattress")
STORE = 'store = "/var/lib/pattress/pattress.db"\n'


async def main() -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    # Nobody listens to the router there.
    faults = [name for name in DEMO_FAULTS if FAULTS[name].twist.way_out is None]
    async with EmulatedHouse(faults=faults) as house:
        write_site(house, SITE, today=datetime.now(UTC).date())
        site = SITE / "site.toml"
        text = site.read_text(encoding="utf-8")
        on_a_wire = text.replace('interfaces = ["127.0.0.1"]', 'interfaces = ["127.0.0.1", "iot0"]')
        assert on_a_wire != text
        site.write_text(STORE + on_a_wire, encoding="utf-8")
        print(json.dumps(sorted(house.expected, key=str)), flush=True)
        loop.add_reader(sys.stdin.fileno(), stop.set)
        await stop.wait()
        loop.remove_reader(sys.stdin.fileno())


if __name__ == "__main__":
    asyncio.run(main())
