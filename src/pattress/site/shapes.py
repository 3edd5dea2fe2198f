"""The building blocks of the shapes that files are checked against: the base class and the types of fields.

What belongs here: types that several kinds of file use. What does not: the shape of one file, which is with its
loader. The `description` of a field says what belongs there; faults use it as their expectation.
"""

import ipaddress
import re
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, PlainValidator

from pattress.model.addresses import IPNetwork, normal_address, normal_mac
from pattress.model.vocabulary import Value
from pattress.site.names import nearest

MAX_NAME_LENGTH = 64
MAX_TEXT_LENGTH = 2_000  # a long paragraph; a reason or a fix longer than that is read by nobody

MAX_PAGE_ADDRESS_LENGTH = 120  # with a point's name behind it, it must fit into a code of two centimetres

Table = dict[str, Any]


class Mismatch(ValueError):
    """A value is not what belongs there. `found` is None where the value itself may be shown."""

    def __init__(self, expected: str, *, found: str | None = None, nearest: str | None = None) -> None:
        super().__init__(f"expected {expected}")
        self.expected = expected
        self.found = found
        self.nearest = nearest


class Shape(BaseModel):
    """One flat table of a file. Tables inside it have shapes of their own, so that every fault of each is found."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False, hide_input_in_errors=True)


def keys_of(shape: type[Shape]) -> tuple[str, ...]:
    """Return the keys that a table of this shape may have, as a person writes them."""
    return tuple(field.alias or name for name, field in shape.model_fields.items())


def unknown_keys(shape: type[Shape], table: Table) -> list[str]:
    """Return the keys of a table that its shape has not: one of them may be a misspelt other."""
    known = keys_of(shape)
    return [key for key in table if key not in known]


def is_name(value: object) -> bool:
    """Whether a value is a name of letters, digits and hyphens in any script."""
    return isinstance(value, str) and len(value) <= MAX_NAME_LENGTH and _NAME.fullmatch(value) is not None


def is_identifier(value: object) -> bool:
    """Whether a value is an id of ASCII letters, digits and hyphens."""
    return is_name(value) and str(value).isascii()


def _text(value: str) -> str:
    if not value.strip():
        raise Mismatch("text that is not empty")
    if len(value) > MAX_TEXT_LENGTH:
        raise Mismatch(f"text of at most {MAX_TEXT_LENGTH} characters")
    if any(not character.isprintable() and character not in "\n\t" for character in value):
        raise Mismatch("text without control characters")
    return value


def _name(value: str) -> str:
    if not is_name(value):
        raise Mismatch(f"a name of letters, digits and hyphens, at most {MAX_NAME_LENGTH} characters")
    return value


def _identifier(value: str) -> str:
    if not is_identifier(value):
        raise Mismatch(f"an id of the letters a to z, digits and hyphens, at most {MAX_NAME_LENGTH} characters")
    return value


def _hardware_address(value: str) -> str:
    normal = normal_mac(value)
    if normal is None:
        raise Mismatch("a hardware address such as 02:00:5e:00:53:01")
    return normal


def _ip_address(value: str) -> str:
    normal = normal_address(value)
    if normal is None:
        raise Mismatch("an IP address")
    return normal


def _host(value: str) -> str:
    if "@" in value:
        raise Mismatch(
            "a host name or an IP address; user and password have keys of their own",
            found="text with '@' in it, not shown here because it may hold a password",
        )
    if normal_address(value) is None and (len(value) > 253 or not HOST_NAME.fullmatch(value.removesuffix("."))):
        raise Mismatch("a host name or an IP address")
    return value


def _page_address(value: str) -> str:
    expected = f"the address of pages such as http://pattress.home.arpa, at most {MAX_PAGE_ADDRESS_LENGTH} characters"
    if "@" in value:
        hidden = "text with '@' in it, not shown here because it may hold a password"
        raise Mismatch(expected, found=hidden)
    if len(value) > MAX_PAGE_ADDRESS_LENGTH or not _PAGE_ADDRESS.fullmatch(value):
        raise Mismatch(expected)
    return value.rstrip("/")


def network_of(value: str) -> IPNetwork:
    """Return the network that `value` writes.

    Raises:
        Mismatch: If it is none, with the network that is meant where bits stand to the right of the prefix.
    """
    expected = "a network such as 192.0.2.0/24"
    try:
        return ipaddress.ip_network(value)
    except ValueError:
        pass
    try:
        meant = ipaddress.ip_network(value, strict=False)
    except ValueError:
        raise Mismatch(expected) from None
    raise Mismatch(f"{expected}, without bits to the right of the prefix", nearest=str(meant))


def _site_network(value: object) -> IPNetwork:
    if not isinstance(value, str):
        raise Mismatch('a network as text, such as "192.0.2.0/24"')
    network = network_of(value)
    if network.prefixlen == 0:
        # Devices are connected to inside these networks only; a network of everything would undo that.
        raise Mismatch("a network of the site, not every address there is")
    return network


def _scalar(value: object) -> Value:
    if isinstance(value, bool | int | float | str):
        return value
    raise Mismatch("text, a number, true or false")


Text = Annotated[str, AfterValidator(_text)]
Name = Annotated[str, AfterValidator(_name)]
Identifier = Annotated[str, AfterValidator(_identifier)]
HardwareAddress = Annotated[str, AfterValidator(_hardware_address)]
Address = Annotated[str, AfterValidator(_ip_address)]
PageAddress = Annotated[str, AfterValidator(_page_address)]
Host = Annotated[str, AfterValidator(_host)]
SiteNetwork = Annotated[IPNetwork, PlainValidator(_site_network)]
Scalar = Annotated[Any, PlainValidator(_scalar)]
_NAME = re.compile(r"[^\W_](?:[^\W_]|-)*")
HOST_NAME = re.compile(r"(?!-)[A-Za-z0-9_-]{1,63}(?<!-)(?:\.(?!-)[A-Za-z0-9_-]{1,63}(?<!-))*")
"""A host name without the dot of the root; RFC 1123 section 2.1, with the underscore of services."""

# Scheme, host, port and path of RFC 3986, less what a page's address needs not: user, query, fragment.
_PAGE_ADDRESS = re.compile(r"https?://(?:[A-Za-z0-9.-]+|\[[0-9A-Fa-f:.]+\])(?::[0-9]{1,5})?(?:/[A-Za-z0-9._~%/-]*)?")


def choice(value: str, choices: tuple[str, ...]) -> str:
    """Return `value` if it is one of the choices, or raise a `Mismatch` with the nearest of them."""
    if value not in choices:
        raise Mismatch("one of " + ", ".join(choices), nearest=nearest(value, choices))
    return value
