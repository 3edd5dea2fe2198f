"""Documents over HTTP from a tiny device: one connection, one question at a time, nothing believed.

What belongs here: one request with its deadline, its limits, its credentials and its one retry. What does not: which
documents a kind has. The HTTP library is imported here only.
"""

import base64
import json
import os
import secrets
import ssl
from collections.abc import Mapping
from pathlib import Path
from typing import Self

import aiohttp
from yarl import URL

from pattress import __version__
from pattress.model.addresses import parse_address
from pattress.model.errors import DeviceError
from pattress.model.profile import HttpGet, JsonRpc
from pattress.model.vocabulary import describe
from pattress.reading.digest import authorization, challenges, strongest
from pattress.reading.target import Target
from pattress.wire.decode import MAX_DOCUMENT_BYTES, UndecodableError, decode_json
from pattress.wire.reach import Reach

CHUNK_BYTES = 65_536
# A connection is kept for the next document of the same device, which is asked for at once. Then the device's one seat
# is free again, and so is ours: 700 devices a second, the most one core reads, hold 280 of the usual 1024 open files.
KEPT_OPEN_S = 0.2
HEADERS = {
    "Accept": "application/json",
    "Accept-Encoding": "identity",  # a module need not compress, and a compressed answer can be a bomb
    "User-Agent": f"pattress/{__version__}",
}


class UnreachableError(DeviceError):
    """The device gave no answer at all: further questions to it are in vain."""


class HttpLink:
    """The HTTP side of reading, for all devices of one run. At most one connection to a device at any time."""

    def __init__(self, reach: Reach, *, answer_s: float, ca_file: Path | None = None) -> None:
        self._reach = reach
        self._answer_s = answer_s
        self._authority = ssl.create_default_context(cafile=ca_file) if ca_file is not None else None
        self._session: aiohttp.ClientSession | None = None

    async def __aenter__(self) -> Self:
        self._session = aiohttp.ClientSession(
            connector=aiohttp.TCPConnector(
                limit=0, limit_per_host=1, keepalive_timeout=KEPT_OPEN_S, use_dns_cache=False
            ),
            cookie_jar=aiohttp.DummyCookieJar(),
            timeout=aiohttp.ClientTimeout(total=self._answer_s),
            headers=HEADERS,
            trust_env=False,
            max_line_size=8190,
            max_field_size=8190,
        )
        return self

    async def __aexit__(self, *_: object) -> None:
        if self._session is not None:
            await self._session.close()

    async def fetch(
        self, target: Target, address: tuple[str, int | None], request: HttpGet | JsonRpc, *, with_credentials: bool
    ) -> bytes:
        """Return the body of one answer.

        Raises:
            UnreachableError: If the address is refused, or nothing came back in time, twice.
            DeviceError: If it answered with something that is no document.
        """
        url = self._url(target, address)
        exchange = _Exchange(target, url, request, with_credentials)
        try:
            return await self._once(exchange)
        except _NoAnswerError as error:
            # One retry: a module closes an idle connection just as we write, or is busy for a moment.
            if error.is_retried:
                raise exchange.no_answer(error) from error
        try:
            return await self._once(exchange)
        except _NoAnswerError as error:
            raise exchange.no_answer(error) from error

    def _url(self, target: Target, address: tuple[str, int | None]) -> str:
        host, announced_port = address
        refusal = self._reach.refusal(host)
        if refusal is not None:
            raise UnreachableError(
                f"not asked: {refusal}", where=host, next_step="Correct the address or the device networks"
            )
        access = target.profile.access
        port = access.port or announced_port
        parsed = parse_address(host)
        shown = f"[{parsed}]" if parsed is not None and parsed.version == 6 else str(parsed)
        return f"{access.scheme}://{shown}{f':{port}' if port else ''}"

    async def _once(self, exchange: "_Exchange") -> bytes:
        try:
            headers = exchange.first_headers()
            status, body, offered = await self._send(exchange, headers)
            if status == 401 and (answer := exchange.digest_headers(offered)) is not None:
                status, body, offered = await self._send(exchange, answer)
        except TimeoutError as error:
            raise _NoAnswerError(f"no complete answer within {self._answer_s:g} s") from error
        except aiohttp.ServerFingerprintMismatch as error:
            raise exchange.failure("its TLS certificate is not the pinned one") from error
        except aiohttp.ClientConnectorCertificateError as error:
            raise exchange.failure("its TLS certificate is not accepted") from error
        except aiohttp.ClientResponseError as error:
            raise exchange.failure(f"its answer is not HTTP: {_first_line(error.message)}") from error
        except aiohttp.ClientPayloadError as error:
            raise exchange.failure("its answer broke off or cannot be unpacked") from error
        except (aiohttp.ClientError, OSError) as error:
            # The library itself has retried a GET whose connection failed.
            raise _NoAnswerError(_connection_words(error), is_retried=exchange.method == "GET") from error
        if status != 200:
            raise exchange.failure(_status_words(status, exchange))
        return body

    async def _send(self, exchange: "_Exchange", headers: Mapping[str, str]) -> tuple[int, bytes, list[str]]:
        assert self._session is not None, "the link is used inside its `async with`"  # noqa: S101
        async with self._session.request(
            exchange.method,
            exchange.url,
            data=exchange.body,
            headers=headers,
            allow_redirects=False,
            ssl=self._tls(exchange.target),
        ) as response:
            if 300 <= response.status < 400:
                raise exchange.failure(
                    f"it sends us on to {response.headers.get('Location', 'nowhere')[:120]!r}, which is not followed"
                )
            body = bytearray()
            async for chunk in response.content.iter_chunked(CHUNK_BYTES):
                body += chunk
                if len(body) > MAX_DOCUMENT_BYTES:
                    response.close()
                    raise exchange.failure(f"its answer is longer than {MAX_DOCUMENT_BYTES} bytes")
            return response.status, bytes(body), response.headers.getall("WWW-Authenticate", [])

    def _tls(self, target: Target) -> ssl.SSLContext | aiohttp.Fingerprint | bool:
        if target.profile.access.scheme == "http":
            return True
        if target.certificate_sha256 is not None:
            return aiohttp.Fingerprint(bytes.fromhex(target.certificate_sha256))
        return self._authority or True


class _NoAnswerError(Exception):
    """Nothing, or nothing whole, came back. Worth one more try, unless it was retried."""

    def __init__(self, what: str, *, is_retried: bool = False) -> None:
        super().__init__(what)
        self.is_retried = is_retried


class _Exchange:
    """One question to one device, with what it takes to prove who asks."""

    def __init__(self, target: Target, base: str, request: HttpGet | JsonRpc, with_credentials: bool) -> None:
        self.target = target
        self.url = URL(base + request.path)
        self.where = base + request.path
        self.method = "GET" if isinstance(request, HttpGet) else "POST"
        self.body = None if isinstance(request, HttpGet) else json_rpc_request(request)
        self._credential = target.credential if with_credentials else None

    def first_headers(self) -> dict[str, str]:
        headers = {}
        if self.body is not None:
            headers["Content-Type"] = "application/json"
        host, _, zone = (self.url.host or "").partition("%")
        if zone:
            headers["Host"] = f"[{host}]:{self.url.port}"  # RFC 6874 section 1: a zone never leaves this host
        credential = self._credential
        if credential is None:
            return headers
        secret = credential.secret.reveal()
        access = self.target.profile.access
        match access.credential:
            case "basic":
                pair = f"{credential.user or ''}:{secret}".encode()  # RFC 7617 section 2
                headers["Authorization"] = "Basic " + base64.b64encode(pair).decode("ascii")
            case "bearer":
                headers["Authorization"] = f"Bearer {secret}"
            case "header":
                headers[access.header or ""] = secret
            case "digest" | "none":
                pass
        return headers

    def digest_headers(self, offered: list[str]) -> dict[str, str] | None:
        """Return the headers that answer a Digest challenge, or None where it cannot or must not be answered."""
        if self._credential is None or self.target.profile.access.credential != "digest":
            return None
        challenge = strongest(challenges(offered))
        if challenge is None:
            raise self.failure("it asks for credentials in a way that is not Digest with SHA-256 or MD5")
        headers = self.first_headers()
        headers["Authorization"] = authorization(
            challenge,
            method=self.method,
            uri=self.url.raw_path_qs,  # as it is sent
            user=self._credential.user or "",
            password=self._credential.secret.reveal(),
            client_nonce=secrets.token_hex(16),
        )
        return headers

    @property
    def has_credential(self) -> bool:
        return self._credential is not None

    def no_answer(self, error: _NoAnswerError) -> UnreachableError:
        return UnreachableError(str(error), where=self.where, next_step="See that it has power and is on the network")

    def failure(self, what: str) -> DeviceError:
        return DeviceError(what, where=self.where, next_step="Look at the device and at its profile")


def json_rpc_request(request: JsonRpc) -> bytes:
    """Return the body of a call. Source: JSON-RPC 2.0 specification, section 4."""
    call: dict[str, object] = {"jsonrpc": "2.0", "method": request.method, "id": 1}
    if request.params is not None:
        call["params"] = request.params
    return json.dumps(call).encode()


def json_rpc_result(body: bytes) -> object:
    """Return the result in the answer to a call. Source: JSON-RPC 2.0 specification, section 5.

    Raises:
        UndecodableError: If it is no answer to our call, or an error.
    """
    answer = decode_json(body)
    if not isinstance(answer, dict) or answer.get("jsonrpc") != "2.0":
        raise UndecodableError(f"{describe(answer)} where a JSON-RPC 2.0 answer belongs")
    if "error" in answer:
        error = answer["error"]
        code = error.get("code") if isinstance(error, dict) else None
        message = error.get("message") if isinstance(error, dict) else None
        raise UndecodableError(f"the call failed with code {describe(code)}: {describe(message)}")
    if "result" not in answer:
        raise UndecodableError("a JSON-RPC 2.0 answer with neither result nor error")
    if answer.get("id") != 1 or isinstance(answer.get("id"), bool):
        raise UndecodableError(f"an answer to call {describe(answer.get('id'))}, not to ours")
    return answer["result"]


def _first_line(message: str) -> str:
    return next((line[:80].rstrip(": ") for line in message.splitlines() if line), "no reason given")


def _status_words(status: int, exchange: _Exchange) -> str:
    if status in (401, 403):
        return "it refuses the credentials" if exchange.has_credential else "it asks for credentials; none were shown"
    return f"it answered with status {status}"


def _connection_words(error: BaseException) -> str:
    match error:
        case aiohttp.ServerDisconnectedError():
            return "it closed the connection without an answer"
        case aiohttp.ClientConnectorError(os_error=ssl.SSLError(reason=reason)):
            return f"no TLS connection: {(reason or 'no reason given').replace('_', ' ').lower()}"
        case aiohttp.ClientConnectorError(os_error=OSError(errno=int(number))):
            return f"no connection: {os.strerror(number).lower()}"
        case OSError(errno=int(number)):
            return f"the connection broke off: {os.strerror(number).lower()}"
        case _:
            return f"no connection: {_first_line(str(error))}"
