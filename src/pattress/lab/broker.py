"""A real MQTT broker inside the process, for a demo on a machine that has none.

What belongs here: starting and stopping it, and its one user. What does not: the modules on it. The library (amqtt,
the extra `demo`) is imported here only, and only when a broker is started; a real house has a broker of its own.
"""

import asyncio
import contextlib
import importlib
import logging
from collections.abc import AsyncIterator, Iterator

from pattress.lab.house import Endpoint
from pattress.model.errors import UsageError

STOP_S = 0.3  # the broker has closed them by then; what is left has never said who it is


@contextlib.asynccontextmanager
async def embedded_broker(host: str, *, user: str, secret: str) -> AsyncIterator[Endpoint]:
    """Run a broker on a port of its own at `host`, that lets in one user, and give its endpoint."""
    try:
        # The first import takes a second on a small machine; nothing else waits for it.
        await asyncio.to_thread(importlib.import_module, "pattress.lab.broker_user")
        from amqtt.adapters import StreamReaderAdapter, StreamWriterAdapter
        from amqtt.broker import Broker
        from amqtt.contexts import BrokerConfig, ListenerConfig, ListenerType
    except ImportError as error:
        raise UsageError(
            "the emulated house has no broker",
            where="the emulated house",
            next_step="Install the extra `demo` (pip install 'pattress[demo]')",
        ) from error

    # The listener is ours, so that the port is the system's choice and every connection ends with the broker.
    listeners = {"default": ListenerConfig(type=ListenerType.EXTERNAL, bind="ours")}
    plugins = {"pattress.lab.broker_user.OneUser": {"user": user, "secret": secret}}
    with _quiet("amqtt"), _quiet("transitions"):
        broker = Broker(BrokerConfig(listeners=listeners, plugins=plugins))
        connections: set[asyncio.Task[None]] = set()

        async def connected(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            task = asyncio.current_task()
            assert task is not None  # noqa: S101 - the streams of asyncio call this in a task
            task.set_name("emulated broker, one connection")
            connections.add(task)
            try:
                await broker.external_connected(StreamReaderAdapter(reader), StreamWriterAdapter(writer), "default")
            finally:
                connections.discard(task)
                writer.close()

        await broker.start()
        server = await asyncio.start_server(connected, host, 0)
        try:
            yield Endpoint(host, server.sockets[0].getsockname()[1])
        finally:
            server.close()
            await broker.shutdown()
            await _end(connections)


async def _end(connections: set[asyncio.Task[None]]) -> None:
    """Wait for the connections, which the broker has closed, and cancel those that have not noticed."""
    if connections:
        _, left = await asyncio.wait(connections, timeout=STOP_S)
        for task in left:
            task.cancel()
        await asyncio.gather(*left, return_exceptions=True)


@contextlib.contextmanager
def _quiet(name: str) -> Iterator[None]:
    """Keep a library from telling the terminal what is of no use to anybody there; put its level back after."""
    logger = logging.getLogger(name)
    level = logger.level
    logger.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        logger.setLevel(level)
