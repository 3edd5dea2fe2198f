"""What the TXT record of a DNS-SD service says, from its raw bytes.

What belongs here: the format of the record. What does not: what a maker means by a key (that is a device profile).
"""

from collections.abc import Iterator, Mapping

MAX_TXT_BYTES = 1300  # RFC 6763 section 6.2: a longer record does not fit one Ethernet packet
MAX_TXT_KEYS = 64  # modules announce under 20; the rest is a stranger's noise

_PRINTABLE = frozenset(range(0x20, 0x7F))  # RFC 6763 section 6.4: the characters that a key may have


def parse_txt(data: bytes) -> Mapping[str, bytes | None]:
    """Return the attributes of a TXT record by lower-case key.

    None is an attribute that is present without a value, `b""` one whose value is empty; a key that is not there is
    absent. Of keys that differ only in case the first counts. Strings without a key, or with a key that is not
    printable ASCII, are passed over, and so is a string that ends after the record does: half a serial number is
    another serial number. Only the first 1,300 bytes and 64 keys are considered.

    Source: RFC 6763 sections 6.1 to 6.5.
    """
    attributes: dict[str, bytes | None] = {}
    for string in _strings(data[:MAX_TXT_BYTES]):
        name, separator, value = string.partition(b"=")
        if not name or not _PRINTABLE.issuperset(name):
            continue
        if len(attributes) == MAX_TXT_KEYS:
            break
        attributes.setdefault(name.decode("ascii").lower(), value if separator else None)
    return attributes


def shown(value: bytes | None) -> str:
    """Return a value as text to show: UTF-8, with other bytes written as `\\xff`."""
    return "(no value)" if value is None else value.decode("utf-8", "backslashreplace")


def _strings(data: bytes) -> Iterator[bytes]:
    position = 0
    while position < len(data):
        end = position + 1 + data[position]
        if end > len(data):
            return
        yield data[position + 1 : end]
        position = end
