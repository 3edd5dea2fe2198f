"""Watch the connection table of the host that this runs on, and print what is told: one JSON object a line.

Arguments: where the table is (a file that is not there has the kernel asked over netlink). Ends with its input.
"""

import asyncio
import json
import sys
from datetime import UTC, datetime
from pathlib import Path

from pattress.egress import connections_watch
from pattress.egress.connections_watch import ConnectionsWatch
from pattress.egress.tally import Tallies
from pattress.model.encounter import Traffic
from pattress.model.watching import WatchSource


async def main() -> None:
    connections_watch.LOOK_S = 0.1
    stop, tallies = asyncio.Event(), Tallies()
    watch = ConnectionsWatch(
        WatchSource(name="router", kind="connections"), tallies, lambda: datetime.now(UTC), table=Path(sys.argv[1])
    )
    said: set[str] = set()
    counted = watch._count

    def count(look: object) -> None:
        counted(look)  # type: ignore[arg-type]
        for kind, text in (("trouble", tallies.of("router").trouble), ("note", watch.note)):
            if text is not None and text not in said:
                said.add(text)
                print(json.dumps({kind: text}), flush=True)

    watch._count = count  # type: ignore[method-assign, assignment]
    asyncio.get_running_loop().add_reader(sys.stdin, stop.set)
    await watch.listen(show, stop)


def show(_source: WatchSource, traffic: Traffic) -> None:
    names = (
        "protocol",
        "receiver_port",
        "packets",
        "octets",
        "back_packets",
        "back_octets",
        "initiator",
        "is_answered",
    )
    shown = {"sender": str(traffic.sender), "receiver": str(traffic.receiver)}
    print(json.dumps({**shown, **{name: getattr(traffic, name) for name in names}}), flush=True)


if __name__ == "__main__":
    asyncio.run(main())
