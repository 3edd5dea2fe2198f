"""Manufacturer Usage Descriptions (RFC 8520): what a maker says that a device needs, as allowances.

What belongs here: a document as a whole. What does not: its shape (mud_shapes.py), what the entries of its access
lists come to (mud_policy.py), fetching one, and its signature.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import BaseModel

from pattress.egress.mud_faults import read_shape, shown
from pattress.egress.mud_policy import MudPolicy
from pattress.egress.mud_shapes import ListsShape, MudShape, PolicyShape
from pattress.model.errors import Fault
from pattress.model.watching import Allowance, MudFile


@dataclass(frozen=True, slots=True, kw_only=True)
class MudProfile:
    """What a document allows, what it holds that is not judged, and its faults: with any, it allows nothing."""

    allowances: tuple[Allowance, ...] = ()
    remarks: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()


def mud_profile(file: MudFile) -> MudProfile:
    """Return what a document comes to. It never raises: what is wrong is said with its JSON pointer (RFC 6901)."""
    if not isinstance(file.document, Mapping):
        return MudProfile(
            faults=(Fault(file=file.file, line=None, place="", found=shown(file.document), expected="an object"),)
        )
    mud = _part(MudShape, file, _MUD)
    container = next((name for name in _LISTS if name in file.document), None)
    lists = ListsShape(acl=[]) if container is None else _part(ListsShape, file, container)
    if isinstance(mud, list) or isinstance(lists, list):
        return MudProfile(faults=tuple(fault for part in (mud, lists) if isinstance(part, list) for fault in part))
    container = container or _LISTS[0]
    faults = [*_faults_of_lists(file, lists, container), *_faults_of_names(file, mud, lists)]
    if faults:
        return MudProfile(faults=tuple(faults))
    outward = _policy(file, mud.from_device, lists, container, is_outward=True)
    inward = _policy(file, mud.to_device, lists, container, is_outward=False)
    if outward.faults or inward.faults:
        return MudProfile(faults=(*outward.faults, *inward.faults))
    return MudProfile(
        allowances=(*outward.allowances(), *inward.allowances()),
        remarks=(
            *_remarks(file.document, container, mud),
            *outward.remarks,
            *inward.remarks,
            *outward.unasked_answers(inward),
            *inward.unasked_answers(outward),
        ),
    )


_MUD = "ietf-mud:mud"
_LISTS = ("ietf-access-control-list:acls", "ietf-access-control-list:access-lists")  # the latter before RFC 8519
# RFC 8520 and 8519 set no bound. A maker's file has a dozen entries; each is compared with those before it that drop,
# 512 * 511 / 2 = 130,816 times at most.
_MOST_ENTRIES = 512
_Part = TypeVar("_Part", bound=BaseModel)


def _part(shape: type[_Part], file: MudFile, name: str) -> _Part | list[Fault]:
    if name not in file.document:
        return [Fault(file=file.file, line=None, place="/" + name, found="nothing", expected="an object")]
    return read_shape(shape, file.document[name], file=file.file, pointer="/" + name)


def _faults_of_lists(file: MudFile, lists: ListsShape, container: str) -> Iterator[Fault]:
    entries, seen = 0, set()
    for index, access_list in enumerate(lists.acl):
        if access_list.name in seen:
            place = f"/{container}/acl/{index}/name"
            yield Fault(
                file=file.file, line=None, place=place, found=shown(access_list.name), expected="a name of its own"
            )
        seen.add(access_list.name)
        entries += len(access_list.aces.ace)
    if entries > _MOST_ENTRIES:
        expected = f"at most {_MOST_ENTRIES}"
        yield Fault(file=file.file, line=None, place=f"/{container}/acl", found=f"{entries} entries", expected=expected)


def _faults_of_names(file: MudFile, mud: MudShape, lists: ListsShape) -> Iterator[Fault]:
    """Yield a fault for every name of an access list that is not there, or named a second time."""
    there = {access_list.name for access_list in lists.acl}
    for key, policy in (("from-device-policy", mud.from_device), ("to-device-policy", mud.to_device)):
        left = set(there)
        for index, name in enumerate(_names(policy)):
            if name not in left:
                place = f"/{_MUD}/{key}/access-lists/access-list/{index}/name"
                expected = "each access list once" if name in there else "the name of an access list of this document"
                yield Fault(file=file.file, line=None, place=place, found=shown(name), expected=expected)
            left.discard(name)


def _policy(
    file: MudFile, shape: PolicyShape | None, lists: ListsShape, container: str, *, is_outward: bool
) -> MudPolicy:
    policy = MudPolicy(file, is_outward=is_outward)
    indexes = {access_list.name: index for index, access_list in enumerate(lists.acl)}
    for name in _names(shape):
        policy.read(lists.acl[indexes[name]], f"/{container}/acl/{indexes[name]}/aces/ace")
    return policy


def _names(policy: PolicyShape | None) -> list[str]:
    return [] if policy is None else [entry.name for entry in policy.access_lists.access_list]


def _remarks(document: Mapping[str, Any], container: str, mud: MudShape) -> Iterator[str]:
    if not mud.is_supported:
        yield "the maker no longer supports this device"
    for extension in mud.extensions:
        yield f"the extension {extension} is not judged"
    others = sorted(str(name) for name in document if name not in (_MUD, container))
    if others:
        yield f"{', '.join(shown(name) for name in others[:5])}: not judged"
