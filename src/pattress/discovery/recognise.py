"""Which kind of device a DNS-SD service belongs to, by the profiles' own conditions.

What belongs here: pure functions from profiles and an announcement to a kind and an identity. What does not:
listening, and recognition by MQTT.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase

from pattress.model.addresses import normal_mac
from pattress.model.profile import MdnsRecognition, Profile


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """One announced service. `service_type` is such as `_quill._tcp`; `txt` has lower-case keys."""

    service_type: str
    instance: str
    txt: Mapping[str, bytes | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recognised:
    """The kind that an announcement fits, and the identity that it holds."""

    kind: str
    mac: str | None = None
    serial: str | None = None


def recognise(profiles: Iterable[Profile], service: Service) -> Recognised | None:
    """Return the kind that fits a service best, with the identity it announces, or None where no kind fits.

    Where several fit, the one with most conditions wins, and among equals the first by id.
    """
    fitting = [
        (-_condition_count(recognition), profile.id, position, recognition)
        for profile in profiles
        for position, recognition in enumerate(profile.recognise_mdns)
        if _fits(recognition, service)
    ]
    if not fitting:
        return None
    _, kind, _, recognition = min(fitting, key=lambda one: one[:3])
    mac = _text(service.txt, recognition.mac_key)
    serial = _text(service.txt, recognition.serial_key)
    return Recognised(kind=kind, mac=None if mac is None else normal_mac(mac), serial=serial or None)


def _condition_count(recognition: MdnsRecognition) -> int:
    return (recognition.instance is not None) + len(recognition.txt)


def _fits(recognition: MdnsRecognition, service: Service) -> bool:
    # Names of the DNS are compared without case (RFC 6762 section 16); values of TXT attributes are not names.
    if recognition.service_type.lower() != service.service_type.lower():
        return False
    if recognition.instance is not None and not _matches(service.instance.lower(), recognition.instance.lower()):
        return False
    return all(_has(service.txt, key, pattern) for key, pattern in recognition.txt.items())


def _has(txt: Mapping[str, bytes | None], key: str, pattern: str) -> bool:
    value = _text(txt, key)
    return value is not None and _matches(value, pattern)


def _matches(text: str, pattern: str) -> bool:
    # `*` and `?` are the whole language: a bracket is a bracket.
    return fnmatchcase(text, pattern.replace("[", "[[]"))


def _text(txt: Mapping[str, bytes | None], key: str | None) -> str | None:
    """Return an attribute as text; None where it is absent or not UTF-8. One without a value is empty."""
    if key is None or key.lower() not in txt:
        return None
    try:
        return (txt[key.lower()] or b"").decode("utf-8")
    except UnicodeDecodeError:
        return None
