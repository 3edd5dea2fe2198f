"""Devices that answer as no device should: each a raw server on loopback, and what the reading of it must say.

Run as a program it serves so many of each, and good ones, until its input ends; it prints their ports as JSON.
"""

import asyncio
import gzip
import json
import socket
import struct
import sys
import zlib
from collections.abc import Callable
from contextlib import AsyncExitStack
from dataclasses import dataclass
from functools import cache

from raw_server import Connection, answer, listening, request_head, silence

ANSWER_S = 1.0  # the deadline of one answer of a slow device; its reading ends after two of them
PATIENT_S = 5.0  # that of every other one, so that a busy machine does not make it look slow
GOOD_DEVICES = 5
MIB = 1_048_576
MAC = "02:00:5e:00:53:01"


@dataclass(frozen=True, slots=True)
class Misdeed:
    """One way to answer, and the reason that the reading must give.

    A reason that ends in "..." goes on in words of a library, which differ between its versions.
    """

    name: str
    serve: Connection
    reason: str
    scheme: str = "http"
    asks_credentials: bool = False

    @property
    def is_slow(self) -> bool:
        """Whether its reading ends by a deadline."""
        return self.reason == TOO_SLOW

    @property
    def answer_s(self) -> float:
        """The deadline of one answer that it is read with."""
        return ANSWER_S if self.is_slow else PATIENT_S


def _says(data: bytes | Callable[[], bytes]) -> Connection:
    """A device that answers every request with these bytes and then closes. Large ones are made where it runs."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await request_head(reader)
        writer.write(data if isinstance(data, bytes) else data())
        await writer.drain()

    return serve


def _goes_on(head: bytes, chunk: bytes, *, every_s: float = 0.005) -> Connection:
    """A device that begins an answer and never ends it. A flood leaves time for the others in its process."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await request_head(reader)
        writer.write(head)
        while True:
            writer.write(chunk)
            await writer.drain()
            await asyncio.sleep(every_s)

    return serve


def _begins_and_waits(data: bytes) -> Connection:
    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await request_head(reader)
        writer.write(data)
        await reader.read()

    return serve


async def _hangs_up(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await request_head(reader)


async def _resets(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await request_head(reader)
    no_lingering = struct.pack("ii", 1, 0)
    writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, no_lingering)


async def _closes_at_once(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    writer.write_eof()
    await silence(reader, writer)


async def _speaks_plainly(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await reader.read(64)
    writer.write(answer(b"", status="400 Bad Request"))
    await writer.drain()
    await silence(reader, writer)


async def _speaks_tls(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """What a TLS server says to a request in plain HTTP: a fatal alert (RFC 8446 section 6, unexpected_message)."""
    await reader.read(64)
    writer.write(bytes([21, 3, 3, 0, 2, 2, 10]))
    await writer.drain()


async def _dies_in_the_middle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    await request_head(reader)
    writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: 1000\r\n\r\n{")
    await writer.drain()


@cache
def _bomb() -> bytes:
    """A gzip file of 300 kB that unpacks to 300 MB."""
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    zeros = b"0" * MIB
    return b"".join(packer.compress(zeros) for _ in range(300)) + packer.flush()


@cache
def _zipped_bomb() -> bytes:
    return answer(_bomb(), "Content-Encoding: gzip")


@cache
def _twice_zipped_bomb() -> bytes:
    return answer(gzip.compress(_bomb()), "Content-Encoding: gzip, gzip")


@cache
def _deflated_bomb() -> bytes:
    return answer(zlib.compress(b"0" * (64 * MIB)), "Content-Encoding: deflate")


@cache
def _long_text() -> bytes:
    return answer(b'["' + b"x" * 50_000_000 + b'"]')


@cache
def _many_keys() -> bytes:
    return answer(b"{" + b",".join(b'"%d":0' % number for number in range(90_000)) + b',"89999":0}')


LARGE = (_zipped_bomb, _twice_zipped_bomb, _deflated_bomb, _long_text, _many_keys)


def misdeeds(elsewhere: int) -> list[Misdeed]:
    """Return them all. `elsewhere` is a port of loopback that some of them send us on to."""
    return [*_endless(), *_large(), *_slow(), *_elsewhere(elsewhere), *_no_document(), *_no_http(), *_no_connection()]


TOO_LONG = "its answer is longer than 1048576 bytes"
TOO_SLOW = f"no complete answer within {ANSWER_S:g} s"
BROKE_OFF = "its answer broke off or cannot be unpacked"
HUNG_UP = "it closed the connection without an answer"
NO_HTTP = "its answer is not HTTP: ..."
EMPTY = "an empty answer where JSON belongs"
OK = b"HTTP/1.1 200 OK\r\n"
CHUNKED = OK + b"Transfer-Encoding: chunked\r\n\r\n"


def _endless() -> list[Misdeed]:
    return [
        Misdeed("endless body", _goes_on(OK + b"\r\n", b"[0," * 21_000), TOO_LONG),
        Misdeed("endless chunks", _goes_on(CHUNKED, b"10000\r\n" + b" " * 65_536 + b"\r\n"), TOO_LONG),
        Misdeed("endless chunk extension", _goes_on(CHUNKED + b"1;", b"x" * 65_536), TOO_SLOW),
        Misdeed("one endless header", _goes_on(OK + b"X-Long: ", b"x" * 65_536), NO_HTTP),
        Misdeed("endless headers", _goes_on(OK, b"X-Many: 1\r\n" * 6_000), NO_HTTP),
        Misdeed("endless interim answers", _goes_on(b"", b"HTTP/1.1 102 Processing\r\n\r\n" * 2_000), TOO_SLOW),
        Misdeed(
            "challenges without an end",
            _says(answer(b"", *["WWW-Authenticate: " + "a" * 4_000 + "@"] * 60, status="401 Unauthorized")),
            "it asks for credentials in a way that is not Digest with SHA-256 or MD5",
            asks_credentials=True,
        ),
    ]


def _large() -> list[Misdeed]:
    zipped = "Content-Encoding: gzip"
    twice = "key '89999' twice in one object, so that it says two things"
    return [
        Misdeed("gzip bomb", _says(_zipped_bomb), TOO_LONG),
        Misdeed("gzip bomb in gzip", _says(_twice_zipped_bomb), "not UTF-8: ..."),
        Misdeed("deflate bomb", _says(_deflated_bomb), TOO_LONG),
        Misdeed("gzip that is none", _says(answer(b"\x1f\x8b\x08\x00" + b"rubbish" * 9, zipped)), BROKE_OFF),
        Misdeed("gzip cut short", _says(answer(gzip.compress(b"{}")[:8], zipped)), EMPTY),
        Misdeed("10,000 deep", _says(answer(b"[" * 10_000 + b"]" * 10_000)), "nested deeper than 32"),
        Misdeed("50 MB", _says(_long_text), TOO_LONG),
        Misdeed("5,000 digits", _says(answer(b"[" + b"1" * 5_000 + b"]")), "a whole number of 5000 digits"),
        Misdeed("90,000 keys", _says(_many_keys), twice),
    ]


def _slow() -> list[Misdeed]:
    return [
        Misdeed("body drip", _goes_on(OK + b"Content-Length: 1000\r\n\r\n", b" ", every_s=0.2), TOO_SLOW),
        Misdeed("header drip", _goes_on(OK, b"a", every_s=0.2), TOO_SLOW),
        Misdeed("silence", silence, TOO_SLOW),
        Misdeed("silence on a TLS port", silence, TOO_SLOW, scheme="https"),
        Misdeed("length too long", _begins_and_waits(OK + b"Content-Length: 5000\r\n\r\n{}"), TOO_SLOW),
        Misdeed("length too long and closed", _dies_in_the_middle, BROKE_OFF),
    ]


def _elsewhere(port: int) -> list[Misdeed]:
    target = f"http://127.0.0.1:{port}/"
    followed = "it sends us on to {!r}, which is not followed"
    return [
        Misdeed(
            "redirect",
            _says(answer(b"", f"Location: {target}facts", status="302 Found")),
            followed.format(f"{target}facts"),
        ),
        Misdeed(
            "redirect of 4 kB",
            _says(answer(b"", f"Location: {target}{'x' * 4_000}", status="307 Go")),
            followed.format(f"{target}{'x' * 4_000}"[:120]),
        ),
        Misdeed(
            "refresh",
            _says(answer(b"{}", f"Refresh: 0; url={target}")),
            "it did not say who it is, so nothing that it said is kept",
        ),
    ]


def _no_document() -> list[Misdeed]:
    twice = b'{"unit": {"hw": "%b", "hw": "x"}}' % MAC.encode()
    page = answer(b"<!doctype html><title>Welcome</title>", "Content-Type: text/html")
    return [
        Misdeed("login page", _says(page), "a page of HTML or XML where JSON belongs"),
        Misdeed("not UTF-8", _says(answer(b'{"a": "\xff"}')), "not UTF-8: byte 0xff at offset 7"),
        Misdeed("NaN", _says(answer(b'{"a": NaN}')), "NaN is not a JSON number"),
        Misdeed("key twice", _says(answer(twice)), "key 'hw' twice in one object, so that it says two things"),
        Misdeed("empty 200", _says(answer(b"")), EMPTY),
        Misdeed("empty 204", _says(b"HTTP/1.1 204 No Content\r\n\r\n"), "it answered with status 204"),
        Misdeed("null", _says(answer(b"null")), "it did not say who it is, so nothing that it said is kept"),
    ]


def _no_http() -> list[Misdeed]:
    two_ways = OK + b"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n"
    return [
        Misdeed("length too short", _says(OK + b'Content-Length: 5\r\n\r\n{"unit": {}}'), NO_HTTP),
        Misdeed("two lengths", _says(OK + b"Content-Length: 2\r\nContent-Length: 3\r\n\r\n{}"), NO_HTTP),
        Misdeed("length and chunks", _says(two_ways), NO_HTTP),
        Misdeed("length below zero", _says(OK + b"Content-Length: -1\r\n\r\n{}"), NO_HTTP),
        Misdeed("length of many digits", _says(OK + b"Content-Length: " + b"9" * 4_000 + b"\r\n\r\n{}"), NO_HTTP),
        Misdeed("status line rubbish", _says(b"\x00\x01\x02 hello\r\n\r\n"), NO_HTTP),
        Misdeed("status of many digits", _says(b"HTTP/1.1 20000000 OK\r\n\r\n"), NO_HTTP),
        Misdeed("another protocol", _says(b"SSH-2.0-tern\r\n"), NO_HTTP),
        Misdeed("header without a colon", _says(OK + b"nonsense\r\n\r\n{}"), NO_HTTP),
        Misdeed("TLS on a plain port", _speaks_tls, NO_HTTP),
    ]


def _no_connection() -> list[Misdeed]:
    return [
        Misdeed("hangs up", _hangs_up, HUNG_UP),
        Misdeed("closes at once", _closes_at_once, HUNG_UP),
        Misdeed("resets", _resets, "the connection broke off: connection reset by peer"),
        Misdeed("plain on a TLS port", _speaks_plainly, "no TLS connection: ...", scheme="https"),
    ]


async def _serve_all(elsewhere: int, copies: int) -> None:
    for make in LARGE:
        make()  # now, so that no device is slow for want of its bytes
    good = json.dumps({"unit": {"hw": MAC, "runs": "1.4.0"}}).encode()
    servers = {one.name: one.serve for one in misdeeds(elsewhere)}
    servers |= {f"good {number}": _says(answer(good)) for number in range(GOOD_DEVICES)}
    async with AsyncExitStack() as stack:
        ports = {
            name: [await stack.enter_async_context(listening(serve)) for _ in range(copies)]
            for name, serve in servers.items()
        }
        print(json.dumps(ports), flush=True)
        await asyncio.to_thread(sys.stdin.read)


if __name__ == "__main__":
    asyncio.run(_serve_all(*map(int, sys.argv[1:])))
