"""HTTP Digest authentication: challenges in, an `Authorization` value out. Pure.

Sources: RFC 7616 (SHA-256, MD5, qop auth), RFC 2617 section 3 (no qop), RFC 9110 section 11 (header grammar). The HTTP
library's own middleware looks only at the first challenge of an answer and cannot choose; modules offer several.
"""

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

ALGORITHMS = {"SHA-256": hashlib.sha256, "MD5": hashlib.md5}
"""What can be answered, the stronger first. The session variants (`-sess`) are not offered by modules known to us."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Challenge:
    """One challenge of a `WWW-Authenticate` header: its scheme in lower case, and its parameters."""

    scheme: str
    parameters: Mapping[str, str]


def challenges(headers: Iterable[str]) -> list[Challenge]:
    """Return every challenge in the values of all `WWW-Authenticate` headers, in order."""
    found: list[Challenge] = []
    for header in headers:
        scheme = ""
        parameters: dict[str, str] = {}
        for token in _TOKEN.finditer(header[:4096]):
            if token["key"] is None:
                if scheme:
                    found.append(Challenge(scheme=scheme, parameters=parameters))
                scheme, parameters = token["scheme"].lower(), {}
            elif scheme:
                quoted = token["quoted"]
                value = token["plain"] if quoted is None else re.sub(r"\\(.)", r"\1", quoted)
                parameters.setdefault(token["key"].lower(), value)
        if scheme:
            found.append(Challenge(scheme=scheme, parameters=parameters))
    return found


def strongest(offered: Iterable[Challenge]) -> Challenge | None:
    """Return the Digest challenge with the strongest algorithm that can be answered, or None."""
    digests = [one for one in offered if one.scheme == "digest" and "nonce" in one.parameters and _has_auth(one)]
    for algorithm in ALGORITHMS:
        for challenge in digests:
            if challenge.parameters.get("algorithm", "MD5").upper() == algorithm:
                return challenge
    return None


def authorization(
    challenge: Challenge, *, method: str, uri: str, user: str, password: str, client_nonce: str, count: int = 1
) -> str:
    """Return the value of the `Authorization` header that answers a challenge.

    `uri` is the request target (path and query), `count` how often this nonce has been used, from 1.
    """
    parameters = challenge.parameters
    algorithm = parameters.get("algorithm", "MD5")
    hashed = ALGORITHMS[algorithm.upper()]

    def digest(*parts: str) -> str:
        return hashed(":".join(parts).encode("utf-8")).hexdigest()

    realm, nonce = parameters.get("realm", ""), parameters["nonce"]
    first, second = digest(user, realm, password), digest(method, uri)
    fields = [("username", user), ("realm", realm), ("uri", uri), ("nonce", nonce)]
    if "qop" in parameters:
        times = f"{count:08x}"
        response = digest(first, nonce, times, client_nonce, "auth", second)
        bare = f", algorithm={algorithm}, qop=auth, nc={times}"
        fields.append(("cnonce", client_nonce))
    else:
        response = digest(first, nonce, second)
        bare = f", algorithm={algorithm}" if "algorithm" in parameters else ""
    fields.append(("response", response))
    if "opaque" in parameters:
        fields.append(("opaque", parameters["opaque"]))
    return "Digest " + ", ".join(f'{name}="{_escaped(value)}"' for name, value in fields) + bare


def _has_auth(challenge: Challenge) -> bool:
    quality = challenge.parameters.get("qop")
    return quality is None or "auth" in [part.strip().lower() for part in quality.split(",")]


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')


_CHARACTER = r"[!#$%&'*+.^_`|~0-9A-Za-z-]"
_NAME = rf"(?<!{_CHARACTER}){_CHARACTER}++"  # whole tokens only, so that a long one is tried once, not from each letter
_TOKEN = re.compile(
    rf'(?P<key>{_NAME})\s*+=\s*+(?:"(?P<quoted>(?:[^"\\]|\\.)*+)"|(?P<plain>{_NAME}))|(?P<scheme>{_NAME})(?=[\s,]|$)'
)
