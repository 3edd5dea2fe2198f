"""A canary for multicast DNS: our own announcement, which our own listener must hear.

What belongs here: proving that an interface carries multicast out and in. What does not: proving that switches and
access points do; only a device's answer proves that.
"""

import asyncio
import secrets
from collections.abc import Callable
from datetime import datetime

from zeroconf import ServiceInfo

from pattress.discovery.interfaces import NoInterfaceError, find_interface
from pattress.discovery.mdns import MdnsSource
from pattress.discovery.opening import OpenError, opened
from pattress.model.device import Sighting

SERVICE_TYPE = "_pattress-echo._udp"
HEARD_WITHIN_S = 4.0  # probing takes 0.75 s and the first announcement 1 s more (RFC 6762 sections 8.1 and 8.3)


async def mdns_canary(wanted: str, clock: Callable[[], datetime]) -> str | None:
    """Announce ourselves on an interface, and return None where it was heard there, or why it was not."""
    name = f"canary-{secrets.token_hex(4)}"
    heard = asyncio.Event()
    stop = asyncio.Event()

    def receive(sighting: Sighting) -> None:
        if sighting.name == name:
            heard.set()

    try:
        interface = find_interface(wanted)
        async with opened(interface) as library:
            info = ServiceInfo(
                f"{SERVICE_TYPE}.local.",
                f"{name}.{SERVICE_TYPE}.local.",
                port=9,  # the discard port (RFC 863): nothing is to be asked there
                server=f"{name}.local.",
                addresses=[interface.address.packed] if interface.address is not None else [],
            )
            async with asyncio.TaskGroup() as group:
                group.create_task(MdnsSource((), (wanted,), clock).listen(receive, stop), name="canary's listener")
                try:
                    async with asyncio.timeout(HEARD_WITHIN_S):
                        await library.async_register_service(info, allow_name_change=True)
                        await heard.wait()
                finally:
                    stop.set()
            await library.async_unregister_service(info)
    except TimeoutError:
        return f"what this host announces on {wanted} is not heard there within {HEARD_WITHIN_S:g} s"
    except (NoInterfaceError, OpenError) as error:
        return str(error)
    return None
