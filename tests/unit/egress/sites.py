"""A site for the tests of this room, and addresses of every sort."""

from ipaddress import IPv4Address, IPv6Address, ip_network

from hypothesis import strategies as st

from pattress.egress.special_purpose import MOST_SPECIFIC_FIRST
from pattress.model.site import Networks

_DEVICES = tuple(map(ip_network, ("192.0.2.0/24", "2001:db8:7::/64", "198.18.5.6/32")))
NETWORKS = Networks(
    devices=_DEVICES,
    inside=(*_DEVICES, *map(ip_network, ("198.51.100.0/24", "17.0.0.0/9", "2001:db8::/48", "2002:1100:1::/48"))),
    outside=tuple(map(ip_network, ("203.0.113.0/24", "192.0.0.0/16", "224.9.0.0/16", "2001:db8:bad::/48"))),
)
_BLOCKS = [entry.block for entry in MOST_SPECIFIC_FIRST] + [*NETWORKS.inside, *NETWORKS.outside]
_EDGES = [
    (block.version, int(edge) + step)
    for block in _BLOCKS
    for edge in (block.network_address, block.broadcast_address)
    for step in (-1, 0, 1)
]
EDGES4 = sorted({edge % 2**32 for version, edge in _EDGES if version == 4})
EDGES6 = sorted({edge % 2**128 for version, edge in _EDGES if version == 6})

numbers4 = st.integers(0, 2**32 - 1) | st.sampled_from(EDGES4)
numbers6 = st.one_of(
    st.integers(0, 2**128 - 1),
    st.sampled_from(EDGES6),
    numbers4.map(lambda number: 0xFFFF << 32 | number),
    numbers4.map(lambda number: 0x64FF9B << 96 | number),
    st.builds(lambda middle, number: 0x64FF9B0001 << 80 | middle << 32 | number, st.integers(0, 2**48 - 1), numbers4),
    st.builds(lambda number, end: 0x2002 << 112 | number << 80 | end, numbers4, st.integers(0, 2**80 - 1)),
    st.builds(
        lambda server, middle, client: 0x20010000 << 96 | server << 64 | middle << 32 | (client ^ 0xFFFFFFFF),
        numbers4,
        st.integers(0, 2**32 - 1),
        numbers4,
    ),
)
addresses = numbers4.map(IPv4Address) | numbers6.map(IPv6Address)
