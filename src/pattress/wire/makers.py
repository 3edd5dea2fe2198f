"""Whose a hardware address is, by the registry of the IEEE that comes with a library. Offline.

What belongs here: the look-up. What does not: what a module says of its own maker, which is a setting.
"""

from functools import lru_cache

from pattress.model.addresses import is_locally_administered

# A block that the registry has split among many holders says nothing of which of them it is.
_SPLIT = "ieee registration authority"
_MAX_KEPT = 4_096  # under 1 MB


@lru_cache(maxsize=_MAX_KEPT)
def maker_of(mac: str) -> str | None:
    """Return who registered the first half of a normal hardware address; None for one that software chose.

    Source: IEEE 802, MA-L registry ("OUI"), as of the release of the library.
    """
    if is_locally_administered(mac) or int(mac[:2], 16) & 1:  # private, or the address of a group
        return None
    from netaddr import OUI, NotRegisteredError  # here: it reads 0.7 MB of index, and most commands need none

    try:
        maker = str(OUI(mac[:8].replace(":", "-")).registration().org).strip()
    except NotRegisteredError:
        return None
    return maker if maker and maker.lower() != _SPLIT else None
