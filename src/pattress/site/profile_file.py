"""A profile file, `profiles/*.toml`, into a `Profile`.

What belongs here: the assembly of a profile and the checks across its tables. What does not: what each table may
hold (`profile_shapes`), the data sheet (`data_sheet`), and the entries of its settings (`profile_settings`).
"""

import math
from collections.abc import Iterator
from typing import Any

from pattress.model.profile import (
    CHANNEL_GROUPS,
    Access,
    AliveSign,
    Document,
    HttpGet,
    JsonRpc,
    MdnsRecognition,
    MqttAsk,
    MqttRecognition,
    MqttRetained,
    Profile,
    Request,
    SettingSource,
)
from pattress.model.vocabulary import MAX_CHANNELS, definitions, groups
from pattress.site.data_sheet import data_sheet_of
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import Known, known_names, nearest
from pattress.site.profile_settings import IDENTITY_SETTINGS, check_document, settings_of
from pattress.site.profile_shapes import (
    AccessShape,
    AliveShape,
    AskShape,
    DocumentShape,
    MdnsShape,
    MqttShape,
    ProfileShape,
    RecogniseShape,
    RpcShape,
    checked_expression,
)
from pattress.site.setting_names import known_definition
from pattress.site.shapes import Mismatch, is_identifier
from pattress.site.words import said

_REQUEST_KEYS = ("get", "rpc", "ask", "retained")


def profile_of(file: TomlFile) -> Profile | None:
    """Return the profile that a file describes, or None after noting its faults."""
    if not file.is_readable:
        return None
    shape = file.checked(ProfileShape, (), file.data)
    channels = _channels(file)
    _check_lacks(file)
    mdns, mqtt = tuple(_mdns(file)), tuple(_mqtt(file))
    access = file.checked(AccessShape, ("access",), file.data.get("access", {}))
    if access is not None:
        _check_header(file, access)
    sheet = data_sheet_of(file)
    before = len(file.faults)
    documents, ids = tuple(_documents(file)), _document_ids(file)
    sources = settings_of(file, channels=channels, documents=ids)
    if access is not None and sources and len(file.faults) == before:
        _check_identity_comes_first(file, access, documents, sources)
    _check_clock_is_fresh(file, documents, sources)
    alive = _alive(file, ids)
    if shape is None or access is None or sheet is None or channels is None or file.faults:
        return None
    return Profile(
        id=shape.id,
        maker=shape.maker,
        model=shape.model,
        module_class=shape.module_class,
        recognise_mdns=mdns,
        recognise_mqtt=mqtt,
        access=Access(scheme=access.scheme, port=access.port, credential=access.credential, header=access.header),
        documents=documents,
        settings=sources,
        channels=channels,
        lacks=tuple(shape.lacks),
        alive=alive,
        data_sheet=sheet,
    )


def _channels(file: TomlFile) -> dict[str, int] | None:
    """The channel counts, None where one has a fault: settings of its channels are then not called wrong as well."""
    before = len(file.faults)
    path, table = file.table("channels") or ((), {})
    counts = {}
    for group, count in table.items():
        if group not in CHANNEL_GROUPS:
            expected = "one of " + ", ".join(CHANNEL_GROUPS)
            close = nearest(group, CHANNEL_GROUPS)
            file.fault((*path, group), found="a group without channels", expected=expected, nearest=close)
        elif not isinstance(count, int) or isinstance(count, bool) or not 0 <= count <= MAX_CHANNELS:
            expected = f"a whole number from 0 to {MAX_CHANNELS}"
            file.fault((*path, group), found=said(count), expected=expected)
        else:
            counts[group] = count
    return counts if len(file.faults) == before else None


def _check_lacks(file: TomlFile) -> None:
    written = file.data.get("lacks")
    for index, name in enumerate(written if isinstance(written, list) else ()):
        if isinstance(name, str) and name not in groups() and known_definition(name) is None:
            names = (*groups(), *(definition.name.replace(".N.", ".*.") for definition in definitions()))
            expected = "a group or a setting of the vocabulary"
            file.fault(("lacks", index), found=said(name), expected=expected, nearest=nearest(name, names))


def _mdns(file: TomlFile) -> Iterator[MdnsRecognition]:
    if file.table("recognise"):
        file.checked(RecogniseShape, ("recognise",), file.data["recognise"])
    for path, table in file.tables("recognise", "mdns"):
        shape = file.checked(MdnsShape, path, table)
        if shape is not None:
            yield MdnsRecognition(
                service_type=shape.service_type,
                instance=shape.instance,
                txt=shape.txt,
                mac_key=shape.mac,
                serial_key=shape.serial,
            )


def _mqtt(file: TomlFile) -> Iterator[MqttRecognition]:
    for path, table in file.tables("recognise", "mqtt"):
        shape = file.checked(MqttShape, path, table)
        if shape is None:
            continue
        for expression in shape.where:
            try:
                checked_expression(expression)
            except Mismatch as error:
                file.mismatch((*path, "where", expression), expression, error)
        yield MqttRecognition(
            topic=shape.topic,
            where=shape.where,
            mac=shape.mac,
            serial=shape.serial,
            address=shape.address,
            port=shape.port,
        )


def _check_header(file: TomlFile, access: AccessShape) -> None:
    if access.credential == "header" and access.header is None:
        expected = "the name of the header that carries the credential"
        file.fault(("access", "header"), found="nothing", expected=expected)
    if access.credential != "header" and access.header is not None:
        expected = 'no header unless credential = "header"'
        file.fault(("access", "header"), found=f'credential "{access.credential}"', expected=expected)


def _document_ids(file: TomlFile) -> Known:
    return known_names((table.get("id") for _, table in file.tables("document")), is_identifier)


def _documents(file: TomlFile) -> Iterator[Document]:
    first: dict[str, KeyPath] = {}
    for path, table in file.tables("document"):
        file.check_unique(first, (*path, "id"), table.get("id"), expected="an id that no other document has")
        shape = file.checked(DocumentShape, path, table)
        if shape is None:
            continue
        request = _request(file, path, shape, table)
        if request is not None:
            yield Document(id=shape.id, request=request, is_open=shape.is_open, decoding=shape.decode)


def _request(file: TomlFile, path: KeyPath, shape: DocumentShape, table: dict[str, Any]) -> Request | None:
    if not file.check_one(path, table, _REQUEST_KEYS, shape=DocumentShape):
        return None
    if shape.get is not None:
        return HttpGet(path=shape.get)
    if shape.retained is not None:
        return MqttRetained(filter=shape.retained)
    if shape.rpc is not None:
        return _json_rpc(file, (*path, "rpc"), shape.rpc)
    ask = file.checked(AskShape, (*path, "ask"), shape.ask)
    return None if ask is None else MqttAsk(ask=ask.topic, answer=ask.answer, payload=ask.payload)


def _alive(file: TomlFile, documents: Known) -> AliveSign | None:
    found = file.table("alive")
    shape = file.checked(AliveShape, *found) if found else None
    if shape is None:
        return None
    check_document(file, ("alive", "in"), shape.document, documents)
    return AliveSign(document=shape.document, at=shape.at, equals=shape.equals)


def _json_rpc(file: TomlFile, path: KeyPath, table: dict[str, Any]) -> JsonRpc | None:
    rpc = file.checked(RpcShape, path, table)
    if rpc is None:
        return None
    for at, value in _not_json(rpc.params or {}):
        expected = "what JSON can hold: text, numbers, true, false, lists and tables"
        file.fault((*path, "params", *at), found=said(value), expected=expected)
    return JsonRpc(path=rpc.path, method=rpc.method, params=rpc.params)


def _not_json(value: object) -> Iterator[tuple[KeyPath, object]]:
    """Every value below one that TOML can hold and JSON cannot: dates, times, infinities and NaN."""
    match value:
        case dict() | list():
            for key, element in value.items() if isinstance(value, dict) else enumerate(value):
                for at, wrong in _not_json(element):
                    yield (key, *at), wrong
        case float() if math.isfinite(value):
            pass
        case bool() | int() | str():
            pass
        case _:
            yield (), value


def _check_clock_is_fresh(file: TomlFile, documents: tuple[Document, ...], sources: tuple[SettingSource, ...]) -> None:
    """A retained message says what the time was when it was published, nobody knows when."""
    retained = {document.id for document in documents if isinstance(document.request, MqttRetained)}
    for source in sources:
        if source.clock is not None and source.document in retained:
            expected = "a document that is asked for: what is retained says no present time"
            file.fault(("settings", source.name, "in"), found=said(source.document), expected=expected)


def _check_identity_comes_first(
    file: TomlFile, access: AccessShape, documents: tuple[Document, ...], sources: tuple[SettingSource, ...]
) -> None:
    """A secret that is sent as it is must go to a recognised device only, so that one document must come without it."""
    if access.scheme != "http" or access.credential not in ("basic", "bearer", "header"):
        return
    open_ids = {
        document.id for document in documents if document.is_open and isinstance(document.request, HttpGet | JsonRpc)
    }
    if not any(source.name in IDENTITY_SETTINGS and source.document in open_ids for source in sources):
        found = f'credential "{access.credential}" over http without an open document that gives mac or serial'
        file.fault(
            ("access", "credential"),
            found=found,
            expected="a get or rpc document with open = true that gives mac or serial, or https, or digest",
        )
