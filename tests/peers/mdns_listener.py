"""Listens for multicast DNS on the interfaces given and prints what comes as lines of JSON, until its input ends.

Run as a program, inside the network namespace that it is to listen in.
"""

import asyncio
import dataclasses
import json
import sys
from datetime import UTC, datetime

from pattress.discovery.mdns import MdnsSource
from pattress.model.device import Sighting
from pattress.model.profile import MdnsRecognition, Profile

QUILL = Profile(
    id="quill-d2",
    maker="Quill",
    model="D2",
    module_class="dual-relay",
    recognise_mdns=(MdnsRecognition(service_type="_quill._tcp", txt={"kind": "D2"}, mac_key="id", serial_key="sn"),),
)


def show(sighting: Sighting) -> None:
    said = dataclasses.asdict(sighting) | {"seen_at": sighting.seen_at.isoformat()}
    print(json.dumps({"sighting": said}), flush=True)


async def main() -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    loop.add_reader(sys.stdin.fileno(), stop.set)
    reports = await MdnsSource([QUILL], sys.argv[1:], lambda: datetime.now(UTC), needed=True).listen(show, stop)
    loop.remove_reader(sys.stdin.fileno())
    print(json.dumps({"reports": [dataclasses.asdict(report) for report in reports]}), flush=True)


if __name__ == "__main__":
    asyncio.run(main())
