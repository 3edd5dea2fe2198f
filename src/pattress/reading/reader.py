"""Reading of devices: all documents of one, gently; many devices at once.

What belongs here: the order of questions, proof of identity, deadlines, and what becomes `Unreadable`. What does not:
how a document travels.
"""

import asyncio
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import assert_never

from pattress.model.device import Sighting
from pattress.model.errors import DeviceError
from pattress.model.profile import Document, HttpGet, JsonRpc, MqttAsk, MqttRetained
from pattress.model.reading import ReadError, Reading, Reported, Snapshot, Unreadable
from pattress.model.site import Limits
from pattress.model.vocabulary import describe
from pattress.reading import mqtt
from pattress.reading.clock import Exchange
from pattress.reading.extract import Extractor, nested, request_words
from pattress.reading.http import HttpLink, UnreachableError, json_rpc_result
from pattress.reading.target import Target
from pattress.wire.decode import UndecodableError, decode_json, decode_text
from pattress.wire.mqtt import MqttLink

MAX_ADDRESSES = 4  # a module has one IPv4 and up to three IPv6 addresses
NO_CREDENTIALS = "not asked: it needs credentials, which go only to devices of the plan"


class Reader:
    """Reads devices of one site. Shared by all of them: the HTTP session, the broker's link, the slots."""

    def __init__(
        self, http: HttpLink, brokers: Mapping[str, MqttLink], limits: Limits, clock: Callable[[], datetime]
    ) -> None:
        self._http = http
        self._brokers = brokers
        self._limits = limits
        self._clock = clock
        self._slots = asyncio.Semaphore(limits.at_once)
        self._extractors: dict[str, Extractor] = {}

    async def read(self, target: Target) -> Reading:
        """Return what a device says of itself, or why it does not. It never raises for what a device does."""
        async with self._slots:
            started_at = asyncio.get_running_loop().time()
            try:
                async with asyncio.timeout(self._limits.device_s):
                    reading = await self._read_where_it_is(target)
            except TimeoutError:
                return self._unreadable(target, f"not done within {self._limits.device_s:g} s")
            except DeviceError as error:
                return self._unreadable(target, error.what)
            duration_s = asyncio.get_running_loop().time() - started_at
        return Snapshot(
            device=target.device,
            kind=target.profile.id,
            taken_at=self._clock(),
            duration_s=duration_s,
            values=reading.values,
            errors=tuple(reading.errors),
            is_live=reading.is_live,
            address=reading.address,
        )

    async def _read_where_it_is(self, target: Target) -> "_DeviceReading":
        """Read at each known address, each time from the start, until the device itself has answered at one."""
        needs_address = any(isinstance(one.request, HttpGet | JsonRpc) for one in target.profile.documents)
        addresses = target.addresses[:MAX_ADDRESSES] if needs_address else ()
        failure: _NotThereError | None = None
        for address in addresses or (None,):
            reading = _DeviceReading(
                self._extractor(target), target, address, self._http, self._brokers, self._limits, self._clock
            )
            try:
                await reading.run()
            except _NotThereError as error:
                failure = failure or error
            else:
                return reading
        assert failure is not None, "there was at least one attempt"  # noqa: S101
        raise failure

    def _unreadable(self, target: Target, reason: str) -> Unreadable:
        return Unreadable(device=target.device, kind=target.profile.id, taken_at=self._clock(), reason=reason)

    def _extractor(self, target: Target) -> Extractor:
        kind = target.profile.id
        if kind not in self._extractors:
            self._extractors[kind] = Extractor(target.profile)
        return self._extractors[kind]


def sighting_of(snapshot: Snapshot, target: Target) -> Sighting:
    """Return a reading as evidence: the device at this address said who it is."""
    mac, serial = snapshot.values.get("mac"), snapshot.values.get("serial")
    address, port = snapshot.address or (None, None)
    return Sighting(
        source="reading",
        seen_at=snapshot.taken_at,
        name=target.name,
        address=address,
        port=port,
        mac=str(mac.value) if mac else None,
        serial=str(serial.value) if serial else None,
        kind=snapshot.kind,
        is_dated=snapshot.is_live,
    )


class _NotThereError(DeviceError):
    """Whatever stands at this address, the device was not read there. It may be at another one."""


class _DeviceReading:
    """One device being read at one address, or without one."""

    def __init__(
        self,
        extractor: Extractor,
        target: Target,
        where: tuple[str, int | None] | None,
        http: HttpLink,
        brokers: Mapping[str, MqttLink],
        limits: Limits,
        clock: Callable[[], datetime],
    ) -> None:
        self.values: dict[str, Reported] = {}
        self.errors: list[ReadError] = []
        self.is_live = False
        self.address: tuple[str, int | None] | None = None
        self._extractor = extractor
        self._target = target
        self._where = where
        self._http = http
        self._brokers = brokers
        self._limits = limits
        self._clock = clock
        self._is_proven = False
        self._asks_credentials = target.profile.access.credential != "none"

    async def run(self) -> None:
        """Read every document, the open ones first, so that credentials go only to the device that they are for."""
        documents = sorted(self._target.profile.documents, key=lambda document: not document.is_open)
        answered = 0
        for document in documents:
            refusal = self._refusal(document)
            if refusal is not None:
                self._fail(document, refusal)
                continue
            sent_s = self._clock().timestamp()
            try:
                content = await self._content(document)
            except (UnreachableError, _NotThereError):
                raise
            except DeviceError as error:
                self._fail(document, error.what)
                continue
            except UndecodableError as error:
                self._fail(document, str(error))
                continue
            answered += 1
            exchange = Exchange(sent_s, self._clock().timestamp())
            found, errors = self._extractor.extract(document.id, content, exchange)
            self.values.update(found)
            self.errors.extend(errors)
            self._prove(document, found)
            self._check_alive(document, content)
        self._require(answered)
        self.values.update(self._extractor.constants())

    def _refusal(self, document: Document) -> str | None:
        if document.is_open or not self._asks_credentials or not isinstance(document.request, HttpGet | JsonRpc):
            return None
        if self._target.credential is None:
            return NO_CREDENTIALS if not self._target.is_planned else "the site has no credential for it"
        sends_secret = self._target.profile.access.credential in ("basic", "bearer", "header")
        if sends_secret and self._target.profile.access.scheme == "http" and not self._is_proven:
            return "no credentials shown: it has not proved that it is the mac or serial of its point"
        return None

    async def _content(self, document: Document) -> object:
        request = document.request
        match request:
            case HttpGet() | JsonRpc():
                body = await self._over_http(document, request)
                self.is_live = True
                return json_rpc_result(body) if isinstance(request, JsonRpc) else _decoded(document, body)
            case MqttAsk():
                body = await mqtt.ask(self._link(), self._target, request, answer_s=self._limits.answer_s)
                self.is_live = True
                return _decoded(document, body)
            case MqttRetained():
                kept = await mqtt.retained(self._link(), self._target, request, answer_s=self._limits.answer_s)
                return nested({topic: _decoded(document, payload) for topic, payload in kept.items()})
            case _:
                assert_never(request)

    async def _over_http(self, document: Document, request: HttpGet | JsonRpc) -> bytes:
        if self._where is None:
            raise UnreachableError("no address of it is known", where=self._target.device, next_step="Wait for it")
        try:
            body = await self._http.fetch(self._target, self._where, request, with_credentials=not document.is_open)
        except UnreachableError as error:
            raise _NotThereError(error.what, where=error.where, next_step=error.next_step) from error
        self.address = self._where
        return body

    def _link(self) -> MqttLink:
        if not self._brokers:
            raise UnreachableError(
                "the site has no broker", where=self._target.device, next_step="Add a [[broker]] to site.toml"
            )
        return next(iter(self._brokers.values()))

    def _prove(self, document: Document, found: Mapping[str, Reported]) -> None:
        """Compare who answered with who was asked, before anything is put to its name.

        Raises:
            DeviceError: If another device answered.
        """
        is_over_http = isinstance(document.request, HttpGet | JsonRpc)
        for key, expected in (("mac", self._target.mac), ("serial", self._target.serial)):
            reported = found.get(key)
            if reported is None or expected is None:
                continue
            if reported.value != expected:
                raise (_NotThereError if is_over_http else UnreachableError)(
                    f"another device answered: its {key} is {describe(reported.value)}, not {describe(expected)}",
                    where=self._target.device,
                    next_step="See what stands at that address now",
                )
            # What comes over the broker says nothing of who stands at the address that credentials would go to.
            self._is_proven = self._is_proven or is_over_http

    def _check_alive(self, document: Document, content: object) -> None:
        sign = self._target.profile.alive
        if sign is None or sign.document != document.id:
            return
        found = self._extractor.alive(content)
        if found != sign.equals:
            raise UnreachableError(
                f"its sign of life is {describe(found)}, not {describe(sign.equals)}",
                where=self._target.device,
                next_step="See that it has power and is on the broker",
            )
        self.is_live = True

    def _require(self, answered: int) -> None:
        if answered == 0:
            reasons = list(dict.fromkeys(error.reason for error in self.errors))
            raise _NotThereError(
                "; ".join(reasons[:2]) or "its profile has no document",
                where=self._target.device,
                next_step="Look at the device and at its profile",
            )
        if "mac" not in self.values and "serial" not in self.values:
            raise _NotThereError(
                "it did not say who it is, so nothing that it said is kept",
                where=self._target.device,
                next_step="Look at its identity in the profile",
            )

    def _fail(self, document: Document, reason: str) -> None:
        """Say of every setting of a document why it was not read."""
        where = request_words(document)
        names = self._extractor.names_in(document.id) or [f"document {document.id}"]
        self.errors.extend(ReadError(subject=name, reason=f"{reason} ({where})") for name in names)


def _decoded(document: Document, body: bytes) -> object:
    if document.decoding == "text":
        return decode_text(body)
    return decode_json(body)
