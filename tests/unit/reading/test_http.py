"""One question over HTTP: what is sent, what is believed, and what each failure is called."""

import asyncio
import base64
import hashlib
import ipaddress
import json
import re
import secrets
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from aiohttp import web
from multidict import CIMultiDict

from pattress.model.errors import DeviceError
from pattress.model.profile import Access, HttpGet, JsonRpc
from pattress.model.site import Credential, Secret
from pattress.reading.http import HttpLink, UnreachableError, _Exchange
from pattress.reading.target import Target
from pattress.wire.reach import Reach
from raw_server import LOOPBACK, answer, listening, request_head, silence
from unit.reading.certificates import Authority
from unit.reading.stand import REACH, profile, say, serving, target

USER, PASSWORD, REALM = "warden", "tide: 7", "tern"
CREDENTIAL = Credential(secret=Secret(PASSWORD), user=USER)
GET = HttpGet(path="/facts")
CALL = JsonRpc(path="/call", method="unit.tell", params={"part": "all"})


async def fetch(
    port: int,
    request: HttpGet | JsonRpc = GET,
    *,
    of: Target | None = None,
    with_credentials: bool = False,
    answer_s: float = 5.0,
    reach: Reach = REACH,
    ca_file: Path | None = None,
) -> bytes:
    async with HttpLink(reach, answer_s=answer_s, ca_file=ca_file) as link:
        return await link.fetch(of or target(port), (LOOPBACK, port), request, with_credentials=with_credentials)


async def failure(port: int, **more: Any) -> DeviceError:
    with pytest.raises(DeviceError) as caught:
        await fetch(port, **more)
    return caught.value


def asks(credential: str, **more: Any) -> Target:
    return target(access=Access(credential=credential, **more), credential=CREDENTIAL)  # type: ignore[arg-type]


class Recorded:
    """A handler that keeps every request it had and gives one answer."""

    def __init__(self, reply: Callable[[web.Request], web.StreamResponse] | None = None) -> None:
        self.headers: list[dict[str, str]] = []
        self.bodies: list[bytes] = []
        self._reply = reply or (lambda _: web.json_response({}))

    async def __call__(self, request: web.Request) -> web.StreamResponse:
        self.headers.append(dict(request.headers))
        self.bodies.append(await request.read())
        return self._reply(request)


# What is sent


async def test_a_document_is_asked_for_plainly_and_comes_back_as_it_was_sent() -> None:
    recorded = Recorded(lambda _: web.Response(body=b'{"a": 1}'))

    async with serving({"/facts": recorded}) as port:
        body = await fetch(port)

    assert body == b'{"a": 1}'
    [headers] = recorded.headers
    assert headers["Accept"] == "application/json"
    assert headers["Accept-Encoding"] == "identity"
    assert headers["Host"] == f"{LOOPBACK}:{port}"
    assert headers["User-Agent"].startswith("pattress/")
    assert not {"Authorization", "Cookie"} & headers.keys()


async def test_a_call_is_posted_as_json() -> None:
    recorded = Recorded()

    async with serving({"/call": recorded}) as port:
        await fetch(port, CALL)

    assert recorded.headers[0]["Content-Type"] == "application/json"
    assert json.loads(recorded.bodies[0]) == {
        "jsonrpc": "2.0",
        "method": "unit.tell",
        "params": {"part": "all"},
        "id": 1,
    }


async def test_a_percent_sign_in_a_path_changes_nothing_but_the_path() -> None:
    recorded = Recorded()

    async with serving({"/two words": recorded}) as port:
        await fetch(port, HttpGet(path="/two%20words?part=all"))

    assert recorded.headers[0]["Host"] == f"{LOOPBACK}:{port}"


async def test_no_proxy_of_the_environment_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:1")

    async with serving() as port:
        body = await fetch(port)

    assert b"runs" in body


async def test_a_cookie_is_not_kept() -> None:
    recorded = Recorded(lambda _: web.Response(body=b"{}", headers={"Set-Cookie": "a=b"}))

    async with serving({"/facts": recorded}) as port, HttpLink(REACH, answer_s=5) as link:
        for _ in range(2):
            await link.fetch(target(port), (LOOPBACK, port), GET, with_credentials=False)

    assert [("Cookie" in headers) for headers in recorded.headers] == [False, False]


# Where it may go


@pytest.mark.parametrize(
    ("address", "reason"),
    [
        ("198.51.100.7", "not asked: 198.51.100.7 is outside the site's device networks"),
        ("::ffff:198.51.100.7", "not asked: 198.51.100.7 is outside the site's device networks"),
        ("localhost", "not asked: 'localhost' is not an IP address"),
        ("2130706433", "not asked: '2130706433' is not an IP address"),
    ],
)
async def test_an_address_out_of_reach_is_not_asked(address: str, reason: str) -> None:
    async with HttpLink(REACH, answer_s=5) as link:
        with pytest.raises(UnreachableError) as caught:
            await link.fetch(target(), (address, 80), GET, with_credentials=False)

    assert caught.value.what == reason


async def test_our_own_address_is_not_asked_however_it_is_written() -> None:
    own = ipaddress.ip_address("127.0.0.1")
    reach = Reach(networks=(ipaddress.ip_network("0.0.0.0/0"),), own=frozenset({own}))

    async with serving() as port, HttpLink(reach, answer_s=5) as link:
        for address in ("127.0.0.1", "127.0.0.2", "::ffff:127.0.0.1"):
            with pytest.raises(UnreachableError, match="is an address of this host"):
                await link.fetch(target(), (address, port), GET, with_credentials=False)


async def test_a_redirect_is_named_and_not_followed() -> None:
    elsewhere = Recorded()

    async with serving({"/": elsewhere}) as other:
        moved = Recorded(lambda _: web.Response(status=302, headers={"Location": f"http://{LOOPBACK}:{other}/"}))
        async with serving({"/facts": moved}) as port:
            error = await failure(port)

    assert error.what == f"it sends us on to 'http://{LOOPBACK}:{other}/', which is not followed"
    assert elsewhere.headers == []


# Credentials


async def test_basic_credentials_are_shown_only_when_asked_to() -> None:
    """RFC 7617 section 2: user and password, joined by a colon, in base64."""
    recorded = Recorded()

    async with serving({"/facts": recorded}) as port:
        await fetch(port, of=asks("basic"), with_credentials=True)
        await fetch(port, of=asks("basic"), with_credentials=False)

    scheme, _, encoded = recorded.headers[0]["Authorization"].partition(" ")
    assert (scheme, base64.b64decode(encoded).decode()) == ("Basic", "warden:tide: 7")
    assert "Authorization" not in recorded.headers[1]


async def test_a_bearer_token_is_shown() -> None:
    """RFC 6750 section 2.1."""
    recorded = Recorded()

    async with serving({"/facts": recorded}) as port:
        await fetch(port, of=asks("bearer"), with_credentials=True)

    assert recorded.headers[0]["Authorization"] == f"Bearer {PASSWORD}"


async def test_a_secret_in_a_header_of_its_own_is_shown_in_it() -> None:
    recorded = Recorded()

    async with serving({"/facts": recorded}) as port:
        await fetch(port, of=asks("header", header="X-Tern-Word"), with_credentials=True)

    assert recorded.headers[0]["X-Tern-Word"] == PASSWORD
    assert "Authorization" not in recorded.headers[0]


class DigestServer:
    """A device that checks Digest by RFC 7616 section 3.4.1, computed here and nowhere else."""

    def __init__(self, algorithm: str, *, offers: list[str] | None = None, has_quality: bool = True) -> None:
        self.nonce = secrets.token_hex(8)
        self.let_in = 0
        self.turned_away = 0
        quality = ', qop="auth"' if has_quality else ""
        digest = f'Digest realm="{REALM}", nonce="{self.nonce}", opaque="o", algorithm={algorithm}{quality}'
        self._offers = [digest if one == "DIGEST" else one for one in offers or ["DIGEST"]]
        self._hashed = {"MD5": hashlib.md5, "SHA-256": hashlib.sha256}[algorithm]

    async def __call__(self, request: web.Request) -> web.StreamResponse:
        given = request.headers.get("Authorization", "")
        if given.startswith("Digest ") and self._is_right(request.method, request.raw_path, given):
            self.let_in += 1
            return web.json_response({"let": "in"})
        self.turned_away += 1
        headers = [("WWW-Authenticate", offer) for offer in self._offers]
        return web.Response(status=401, headers=CIMultiDict(headers))

    def _is_right(self, method: str, path: str, given: str) -> bool:
        fields = {key: quoted or plain for key, quoted, plain in re.findall(r'(\w+)=(?:"([^"]*)"|([^",\s]+))', given)}

        def h(text: str) -> str:
            return self._hashed(text.encode()).hexdigest()

        first, second = h(f"{USER}:{REALM}:{PASSWORD}"), h(f"{method}:{path}")
        middle = f"{self.nonce}:{fields['nc']}:{fields['cnonce']}:auth" if "qop" in fields else self.nonce
        return (
            fields["username"] == USER
            and fields["nonce"] == self.nonce
            and fields["opaque"] == "o"
            and fields["uri"] == path
            and fields["response"] == h(f"{first}:{middle}:{second}")
        )


@pytest.mark.parametrize("algorithm", ["MD5", "SHA-256"])
@pytest.mark.parametrize("has_quality", [True, False])
async def test_digest_lets_us_in_where_the_password_is_right(algorithm: str, has_quality: bool) -> None:
    device = DigestServer(algorithm, has_quality=has_quality)

    async with serving({"/facts": device}) as port:
        body = await fetch(port, of=asks("digest"), with_credentials=True)

    assert json.loads(body) == {"let": "in"}
    assert (device.turned_away, device.let_in) == (1, 1)


async def test_digest_is_computed_over_the_path_as_it_is_sent() -> None:
    device = DigestServer("SHA-256")

    async with serving({"/{rest:.*}": device}) as port:
        await fetch(port, HttpGet(path='/%7Efacts?part="all"&of={1}'), of=asks("digest"), with_credentials=True)

    assert device.let_in == 1


async def test_digest_signs_a_call_too() -> None:
    device = DigestServer("SHA-256")

    async with serving({"/call": device}) as port:
        await fetch(port, CALL, of=asks("digest"), with_credentials=True)

    assert device.let_in == 1


@pytest.mark.parametrize(
    "offers",
    [
        ['Basic realm="tern"', "DIGEST"],
        ["DIGEST", 'Basic realm="tern"'],
        ['Digest realm="tern", nonce="x", algorithm=SHA-512-256', "DIGEST"],
    ],
)
async def test_among_several_challenges_digest_is_answered_and_never_basic(offers: list[str]) -> None:
    device = DigestServer("SHA-256", offers=offers)

    async with serving({"/facts": device}) as port:
        await fetch(port, of=asks("digest"), with_credentials=True)

    assert (device.turned_away, device.let_in) == (1, 1)


async def test_no_secret_is_shown_to_a_device_that_offers_only_basic_where_digest_belongs() -> None:
    recorded = Recorded(lambda _: web.Response(status=401, headers={"WWW-Authenticate": 'Basic realm="tern"'}))

    async with serving({"/facts": recorded}) as port:
        error = await failure(port, of=asks("digest"), with_credentials=True)

    assert error.what == "it asks for credentials in a way that is not Digest with SHA-256 or MD5"
    assert ["Authorization" in headers for headers in recorded.headers] == [False]


async def test_a_wrong_password_is_refused_after_one_try() -> None:
    device = DigestServer("SHA-256")
    wrong = target(access=Access(credential="digest"), credential=Credential(secret=Secret("not it"), user=USER))

    async with serving({"/facts": device}) as port:
        error = await failure(port, of=wrong, with_credentials=True)

    assert error.what == "it refuses the credentials"
    assert device.turned_away == 2
    assert "not it" not in str(error)


async def test_a_device_that_asks_for_credentials_is_shown_none_without_leave() -> None:
    device = DigestServer("SHA-256")

    async with serving({"/facts": device}) as port:
        error = await failure(port, of=asks("digest"), with_credentials=False)

    assert error.what == "it asks for credentials; none were shown"
    assert device.turned_away == 1


# TLS


async def test_a_certificate_of_the_house_is_accepted(tmp_path: Path) -> None:
    house = Authority(tmp_path)
    kind = target(access=Access(scheme="https"))

    async with serving(tls=house.server_context()) as port:
        body = await fetch(port, of=kind, ca_file=house.file)

    assert b"runs" in body


async def test_a_certificate_of_another_authority_is_refused(tmp_path: Path) -> None:
    house, other = Authority(tmp_path), Authority(tmp_path, "other")
    recorded = Recorded()

    async with serving({"/facts": recorded}, tls=other.server_context()) as port:
        error = await failure(port, of=target(access=Access(scheme="https")), ca_file=house.file)

    assert error.what == "its TLS certificate is not accepted"
    assert recorded.headers == []


async def test_a_certificate_for_another_address_is_refused(tmp_path: Path) -> None:
    house = Authority(tmp_path, address="192.0.2.9")

    async with serving(tls=house.server_context()) as port:
        error = await failure(port, of=target(access=Access(scheme="https")), ca_file=house.file)

    assert error.what == "its TLS certificate is not accepted"


async def test_without_an_authority_a_private_certificate_is_refused(tmp_path: Path) -> None:
    async with serving(tls=Authority(tmp_path).server_context()) as port:
        error = await failure(port, of=target(access=Access(scheme="https")))

    assert error.what == "its TLS certificate is not accepted"


async def test_a_pinned_certificate_is_accepted_whoever_signed_it(tmp_path: Path) -> None:
    house = Authority(tmp_path)
    pinned = target(access=Access(scheme="https"), certificate_sha256=house.sha256)

    async with serving(tls=house.server_context()) as port:
        body = await fetch(port, of=pinned)

    assert b"runs" in body


async def test_another_certificate_than_the_pinned_one_is_refused_before_anything_is_sent(tmp_path: Path) -> None:
    house, other = Authority(tmp_path), Authority(tmp_path, "other")
    recorded = Recorded()
    pinned = target(
        access=Access(scheme="https", credential="basic"), certificate_sha256=house.sha256, credential=CREDENTIAL
    )

    async with serving({"/facts": recorded}, tls=other.server_context()) as port:
        error = await failure(port, of=pinned, with_credentials=True, ca_file=other.file)

    assert error.what == "its TLS certificate is not the pinned one"
    assert recorded.headers == []


# Connections


async def test_a_device_has_one_connection_at_a_time() -> None:
    now = most = 0

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal now, most
        now += 1
        most = max(most, now)
        try:
            while True:
                await request_head(reader)
                writer.write(answer(b"{}"))
        finally:
            now -= 1

    async with listening(serve) as port, HttpLink(REACH, answer_s=5) as link, asyncio.TaskGroup() as group:
        for _ in range(4):
            group.create_task(link.fetch(target(port), (LOOPBACK, port), GET, with_credentials=False))

    assert most == 1


async def test_a_digest_answer_uses_the_connection_of_its_challenge() -> None:
    connections = 0
    challenge = f'WWW-Authenticate: Digest realm="{REALM}", nonce="n", qop="auth"'

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal connections
        connections += 1
        while True:
            head = await request_head(reader)
            is_answered = "Authorization: Digest" in head
            writer.write(answer(b"{}") if is_answered else answer(b"", challenge, status="401 Unauthorized"))

    async with listening(serve) as port:
        await fetch(port, of=asks("digest"), with_credentials=True)

    assert connections == 1


@pytest.mark.parametrize("request_", [GET, CALL], ids=["get", "call"])
@pytest.mark.parametrize("closes", ["after its answer", "as the next request comes"])
async def test_a_connection_that_closes_between_two_questions_is_no_failure(
    request_: HttpGet | JsonRpc, closes: str
) -> None:
    connections = 0

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal connections
        connections += 1
        await request_head(reader)
        writer.write(answer(b"{}"))
        await writer.drain()
        if closes == "as the next request comes":
            await request_head(reader)

    async with listening(serve) as port, HttpLink(REACH, answer_s=5) as link:
        for _ in range(3):
            await link.fetch(target(port), (LOOPBACK, port), request_, with_credentials=False)

    assert connections == 3


async def test_a_device_that_drops_one_connection_is_asked_once_more() -> None:
    connections = 0

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal connections
        connections += 1
        await request_head(reader)
        if connections > 1:
            writer.write(answer(b'{"second": true}'))
            await writer.drain()

    async with listening(serve) as port:
        body = await fetch(port)

    assert json.loads(body) == {"second": True}


async def test_a_device_that_drops_every_connection_is_asked_twice_and_no_more() -> None:
    connections = 0

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal connections
        connections += 1
        await request_head(reader)

    async with listening(serve) as port:
        error = await failure(port)

    assert isinstance(error, UnreachableError)
    assert error.what == "it closed the connection without an answer"
    assert connections == 2


@asynccontextmanager
async def closed_port() -> AsyncIterator[int]:
    async with serving() as port:
        pass
    yield port


async def test_a_port_on_which_nothing_listens_is_unreachable() -> None:
    async with closed_port() as port:
        error = await failure(port)

    assert isinstance(error, UnreachableError)
    assert error.what == "no connection: connection refused"


async def test_each_answer_has_a_deadline() -> None:
    started_at = asyncio.get_running_loop().time()
    async with listening(silence) as port:
        error = await failure(port, answer_s=0.2)

    assert isinstance(error, UnreachableError)
    assert error.what == "no complete answer within 0.2 s"
    assert asyncio.get_running_loop().time() - started_at < 2


@pytest.mark.parametrize(
    ("status", "reason"),
    [(404, "it answered with status 404"), (500, "it answered with status 500"), (204, "it answered with status 204")],
)
async def test_only_status_200_is_a_document(status: int, reason: str) -> None:
    async with serving({"/facts": say({}, status=status)}) as port:
        error = await failure(port)

    assert error.what == reason
    assert not isinstance(error, UnreachableError)


async def test_an_address_beyond_one_interface_keeps_its_zone_to_itself() -> None:
    """RFC 6874 section 1: the zone has no meaning outside this host. Nothing listens, so the request is looked at."""
    exchange = _Exchange(target(kind=profile()), "http://[fe80::1%iot0]:8080", GET, False)

    assert exchange.first_headers()["Host"] == "[fe80::1]:8080"
