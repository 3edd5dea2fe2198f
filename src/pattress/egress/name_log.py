"""Log lines of a resolver into evidence: text in, records out.

What belongs here: the query log of dnsmasq, with and without serial numbers, and a pattern of the site's own for
another resolver. What does not: reading lines, and judging names. A name is what a stranger chose and may look like the
rest of a line, so every line is read from both ends.
"""

import re
from collections import OrderedDict
from datetime import datetime

from pattress.egress.log_head import MAX_LINE_LENGTH, address_of, split_head
from pattress.model.addresses import IPAddress
from pattress.model.encounter import Lookup, NameAnswer
from pattress.model.watching import WatchSource

MAX_PATTERN_LENGTH = 500
MAX_PATTERN_LINE = 1024  # characters: a pattern of a person may take time that grows with a power of the length
MAX_NAME_LENGTH = 253  # RFC 1035 section 2.3.4: 255 bytes with the lengths of the labels, 253 as text
MAX_QUESTIONS = 4096  # of at most 253 characters and a key, about 700 bytes each: 2.9 MB at worst


class NameLog:
    """The lines of one source, which are to come in their order."""

    def __init__(self, source: WatchSource) -> None:
        """Make ready for a source.

        Its own pattern is trusted as the site's files are: `re` cannot promise a time, so a pattern with one repetition
        inside another may take very long for a line that does not fit it.

        Raises:
            ValueError: If the pattern is too long, is no regular expression, or names no `asker` or no `name`.
        """
        self._source = source.name
        self._pattern = None if source.pattern is None else _compiled(source.pattern)
        self._questions: OrderedDict[tuple[str, str], str] = OrderedDict()
        self._chain = _Chain()

    def evidence(self, text: str, now: datetime) -> list[Lookup | NameAnswer]:
        """Return the lookups and answers that a line tells, none where it is about something else.

        With serial numbers an answer is tied to its question. Without, aliases are followed by the order of lines, and
        nobody knows whose question it was. A name that the resolver refuses or answers with the unspecified address
        was looked up and has no answer.
        """
        if self._pattern is not None:
            return self._by_pattern(self._pattern, text[:MAX_PATTERN_LINE], now)
        if " from " not in text and " is " not in text and " to " not in text:
            return []
        head = split_head(text[:MAX_LINE_LENGTH])
        if head.program not in (None, "dnsmasq"):
            return []
        found = _LINE.fullmatch(head.text)
        return [] if found is None else self._by_line(found, now)

    def _by_line(self, line: re.Match[str], now: datetime) -> list[Lookup | NameAnswer]:
        serial, client, port, record_type, verb, name, value = line.group(
            "serial", "client", "port", "type", "verb", "name", "value"
        )
        name = _normal_name(name)
        key = None if serial is None else (serial, f"{client}/{port}")
        if record_type is not None:
            self._chain.end()
            return self._asked(key, name, record_type, value, now)
        if line["link"] != "is":  # handed on to another resolver
            self._chain.end()
            return []
        if not name:
            return []
        asked = self._chain.asked(verb, name, is_alias=value == "<CNAME>")
        asker: IPAddress | None = None
        if key is not None:
            asked, asker = self._questions.get(key, name), address_of(client)
        address = address_of(value)
        if address is None or address.is_unspecified:
            return []
        return [NameAnswer(source=self._source, at=now, name=asked, address=address, asker=asker)]

    def _asked(
        self, key: tuple[str, str] | None, name: str, record_type: str, asker: str, now: datetime
    ) -> list[Lookup | NameAnswer]:
        address = address_of(asker)
        if address is None or not name:
            return []
        if key is not None:
            self._questions.pop(key, None)
            self._questions[key] = name
            if len(self._questions) > MAX_QUESTIONS:
                self._questions.popitem(last=False)
        return [Lookup(source=self._source, at=now, asker=address, name=name, record_type=record_type)]

    def _by_pattern(self, pattern: re.Pattern[str], text: str, now: datetime) -> list[Lookup | NameAnswer]:
        found = pattern.search(text)
        if found is None:
            return []
        groups = found.groupdict()
        name, asker = _normal_name(groups["name"] or ""), address_of(groups["asker"] or "")
        if not name:
            return []
        told: list[Lookup | NameAnswer] = []
        if asker is not None:
            record_type = (groups.get("type") or "").upper()[:_MAX_TYPE_LENGTH] or None
            told.append(Lookup(source=self._source, at=now, asker=asker, name=name, record_type=record_type))
        address = address_of(groups.get("answer") or "")
        if address is not None and not address.is_unspecified:
            told.append(NameAnswer(source=self._source, at=now, name=name, address=address, asker=asker))
        return told


class _Chain:
    """Which name was asked for, by the order of lines: the lines of one answer are never apart.

    dnsmasq says that a name is an alias, not of what: the name in the next line of the same kind is what it leads to.
    """

    def __init__(self) -> None:
        self.end()

    def end(self) -> None:
        self._verb = ""
        self._asked = ""
        self._last = ""
        self._is_open = False

    def asked(self, verb: str, name: str, *, is_alias: bool) -> str:
        """Return the name that was asked for when this one was answered."""
        is_same_answer = verb == self._verb and (self._is_open or name == self._last)
        if not is_same_answer:
            self._asked = name
        self._verb, self._last, self._is_open = verb, name, is_alias
        return self._asked


def _compiled(pattern: str) -> re.Pattern[str]:
    if len(pattern) > MAX_PATTERN_LENGTH:
        raise ValueError(f"the pattern has {len(pattern)} characters, at most {MAX_PATTERN_LENGTH} are allowed")
    try:
        compiled = re.compile(pattern)
    except (re.error, OverflowError, RecursionError) as error:
        raise ValueError(f"the pattern is no regular expression: {error}") from error
    missing = [name for name in ("asker", "name") if name not in compiled.groupindex]
    if missing:
        raise ValueError(f"the pattern has no group named {' and none named '.join(missing)}")
    return compiled


def _normal_name(name: str) -> str:
    """Return a name in lower case without its last dot; the root's is empty, and so is one that is no name."""
    name = name.lower().removesuffix(".")
    return name if len(name) <= MAX_NAME_LENGTH else ""


_MAX_TYPE_LENGTH = 16
# `from` of a question, `to` of a question that is handed on, `is` of an answer; a name may hold any of these words,
# so the last one counts. Answers come from a reply, the cache, the configuration, a lease or a file of hosts.
_LINE = re.compile(
    r"(?:(?P<serial>[0-9]{1,10}) (?P<client>[0-9A-Fa-f:.]{2,45})/(?P<port>[0-9]{1,5}) )?"
    r"(?:(?:query|auth)\[(?P<type>[A-Za-z0-9=-]{1,16})\] (?=.* from [^ ]+$)|(?P<verb>[A-Za-z/][^ \[]{0,255}) )"
    r"(?P<name>.{1,1024}) (?P<link>from|to|is) (?P<value>[^ ]+)",
)
