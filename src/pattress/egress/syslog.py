"""Syslog messages, RFC 5424 and RFC 3164, into records: bytes in, a record out.

What belongs here: the forms of a message. What does not: telling messages in a stream apart (`framing`), listening,
and what a message says. Whatever comes is taken for what it may be: senders of old write nearly anything, and a line
with an odd head is still a line. What is out of form is left out of the record, never guessed.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from pattress.egress.log_head import MAX_LINE_LENGTH, split_head

DEFAULT_PRIORITY = 13  # user-level, notice: RFC 3164 section 4.3.3 for messages without one


@dataclass(frozen=True, slots=True, kw_only=True)
class SyslogMessage:
    """One message. What it did not say, or said out of form, is None. What it says of the time is not used.

    `line` is the text with the program's tag before it, as log files have it: some senders put the prefix of a
    firewall rule where the tag belongs. `structured` holds the parameters of each structured data element by its id
    (RFC 5424 section 6.3).
    """

    facility: int
    severity: int
    text: str
    line: str
    host: str | None = None
    application: str | None = None
    process_id: str | None = None
    message_id: str | None = None
    structured: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


def parse_message(data: bytes) -> SyslogMessage | None:
    """Return the message that one datagram or frame holds, None where it holds nothing.

    What is over 8 KiB is cut off. Bytes that are not UTF-8 are replaced.
    """
    text = data[:MAX_LINE_LENGTH].decode("utf-8", "replace").removeprefix(_BYTE_ORDER_MARK).rstrip("\r\n\0")
    if not text.strip():
        return None
    found = _PRIORITY.match(text)
    priority = int(found[1]) if found is not None else DEFAULT_PRIORITY
    if priority > _MAX_PRIORITY:
        found, priority = None, DEFAULT_PRIORITY
    rest = text if found is None else text[found.end() :]
    if found is not None and (head := _RFC_5424.match(rest)) is not None:
        return _versioned(priority, head, rest)
    return _plain(priority, rest)


def _plain(priority: int, rest: str) -> SyslogMessage:
    """RFC 3164, or whatever it is."""
    head = split_head(rest)
    return SyslogMessage(
        facility=priority >> 3,
        severity=priority & 7,
        host=head.host,
        application=head.program,
        process_id=head.process_id,
        text=head.text,
        line=head.line,
    )


def _versioned(priority: int, head: re.Match[str], rest: str) -> SyslogMessage:
    """RFC 5424 section 6."""
    host, application, process_id, message_id = (None if part == "-" else part for part in head.groups())
    structured, end = _structured_data(rest, head.end())
    text = rest[end:].removeprefix(" ").removeprefix(_BYTE_ORDER_MARK)
    tag = "" if application is None else f"{application}: " if process_id is None else f"{application}[{process_id}]: "
    return SyslogMessage(
        facility=priority >> 3,
        severity=priority & 7,
        host=host,
        application=application,
        process_id=process_id,
        message_id=message_id,
        structured=structured,
        text=text,
        line=tag + text,
    )


def _structured_data(rest: str, start: int) -> tuple[dict[str, dict[str, str]], int]:
    """Return the elements and where they end. Out of form, there are none, and all of it is text."""
    if rest.startswith("-", start):
        return {}, start + 1
    elements: dict[str, dict[str, str]] = {}
    at = start
    while (found := _ELEMENT.match(rest, at)) is not None:
        parameters = elements.setdefault(found[1], {})  # an id must not repeat; if one does, nothing is lost
        for parameter in _PARAMETER.finditer(found[2]):
            parameters[parameter[1]] = _ESCAPED.sub(r"\1", parameter[2])
        at = found.end()
    if at < len(rest) and rest[at] != " ":
        return {}, start
    return elements, at


_BYTE_ORDER_MARK = "\ufeff"
_MAX_PRIORITY = 191  # facility 23, severity 7
_PRIORITY = re.compile(r"<(0|[1-9][0-9]{0,2})>")
# Version, timestamp, host, application, process and message id; the widths are those of RFC 5424 section 6.
_RFC_5424 = re.compile(r"1 [!-~]{1,64} ([!-~]{1,255}) ([!-~]{1,48}) ([!-~]{1,128}) ([!-~]{1,32}) (?=[-\[])")
_NAME = r"[!#-<>-\\^-~]{1,32}"  # printable ASCII but for the quote, the equals sign and the closing bracket
_VALUE = r'(?:[^"\\\]]|\\.)*+'  # possessive: nothing is tried twice, so a hostile value costs its length only
_ELEMENT = re.compile(rf'\[({_NAME})((?: {_NAME}="{_VALUE}")*+)\]', re.DOTALL)
_PARAMETER = re.compile(rf' ({_NAME})="({_VALUE})"', re.DOTALL)
_ESCAPED = re.compile(r'\\(["\\\]])')
