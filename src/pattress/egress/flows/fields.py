"""The information elements that are used, by their numbers.

What belongs here: numbers and what they mean. What does not: reading them.
NetFlow v9 has the same numbers below 128. Source: IANA's register of IPFIX information elements, RFC 3954 section 8.
"""

from typing import Final

REVERSE_ENTERPRISE: Final = 29305  # RFC 5103 section 6.1: the same element, of the opposite direction
VARIABLE: Final = 65535  # RFC 7011 section 7: each record says the length of the field itself

# Who and where
SENDER_IPV4: Final = 8
RECEIVER_IPV4: Final = 12
SENDER_IPV6: Final = 27
RECEIVER_IPV6: Final = 28
SENDER_PORT: Final = 7
RECEIVER_PORT: Final = 11
PROTOCOL: Final = 4
IP_VERSION: Final = 60
SENDER_MAC: Final = 56

# After translation of addresses (RFC 8158)
TRANSLATED_SENDER_IPV4: Final = 225
TRANSLATED_RECEIVER_IPV4: Final = 226
TRANSLATED_SENDER_PORT: Final = 227
TRANSLATED_RECEIVER_PORT: Final = 228
TRANSLATED_SENDER_IPV6: Final = 281
TRANSLATED_RECEIVER_IPV6: Final = 282
NAT_EVENT: Final = 230

# How much: since the last report, or since the flow began
OCTETS: Final = 1
PACKETS: Final = 2
OCTETS_IN_ALL: Final = 85
PACKETS_IN_ALL: Final = 86
INITIATOR_OCTETS: Final = 231
RESPONDER_OCTETS: Final = 232
INITIATOR_PACKETS: Final = 298
RESPONDER_PACKETS: Final = 299

# What
TCP_FLAGS: Final = 6
ICMP_TYPE_AND_CODE_IPV4: Final = 32  # type times 256, plus code
ICMP_TYPE_AND_CODE_IPV6: Final = 139
ICMP_TYPE_IPV4: Final = 176
ICMP_TYPE_IPV6: Final = 178
FORWARDING: Final = 89  # the two high bits of the low octet: 1 forwarded, 2 dropped, 3 consumed
FIREWALL_EVENT: Final = 233  # 1 created, 2 deleted, 3 denied, 4 alert, 5 updated
BIFLOW_DIRECTION: Final = 239  # RFC 5103 section 6.3: 1 the sender began, 2 the receiver began

# One packet in how many was looked at
SAMPLING_INTERVAL: Final = 34
SAMPLER: Final = 48
SAMPLER_INTERVAL: Final = 50
SELECTOR: Final = 302
SAMPLING_TAKEN: Final = 305  # so many packets one after the other are looked at,
SAMPLING_SKIPPED: Final = 306  # then so many are not
SAMPLING_SIZE: Final = 309  # so many packets
SAMPLING_POPULATION: Final = 310  # of so many

ADDRESSES: Final = frozenset(
    {
        *(SENDER_IPV4, RECEIVER_IPV4, SENDER_IPV6, RECEIVER_IPV6),
        *(TRANSLATED_SENDER_IPV4, TRANSLATED_RECEIVER_IPV4, TRANSLATED_SENDER_IPV6, TRANSLATED_RECEIVER_IPV6),
    }
)
IPV6_ADDRESSES: Final = frozenset({SENDER_IPV6, RECEIVER_IPV6, TRANSLATED_SENDER_IPV6, TRANSLATED_RECEIVER_IPV6})
UNSIGNED: Final = frozenset(
    {
        *(SENDER_PORT, RECEIVER_PORT, PROTOCOL, IP_VERSION, TRANSLATED_SENDER_PORT, TRANSLATED_RECEIVER_PORT),
        *(NAT_EVENT, OCTETS, PACKETS, OCTETS_IN_ALL, PACKETS_IN_ALL, INITIATOR_OCTETS, RESPONDER_OCTETS),
        *(INITIATOR_PACKETS, RESPONDER_PACKETS, TCP_FLAGS, ICMP_TYPE_AND_CODE_IPV4, ICMP_TYPE_AND_CODE_IPV6),
        *(ICMP_TYPE_IPV4, ICMP_TYPE_IPV6, FORWARDING, FIREWALL_EVENT, BIFLOW_DIRECTION),
        *(SAMPLING_INTERVAL, SAMPLER, SAMPLER_INTERVAL, SELECTOR),
        *(SAMPLING_TAKEN, SAMPLING_SKIPPED, SAMPLING_SIZE, SAMPLING_POPULATION),
    }
)


def is_usable(element: int, length: int) -> bool:
    """Whether a field is one that we use, at a length that it may have (RFC 7011 section 6.2: integers may be short).

    Anything else is stepped over by its length.
    """
    if element in ADDRESSES:
        return length == (16 if element in IPV6_ADDRESSES else 4)
    if element == SENDER_MAC:
        return length == 6
    return element in UNSIGNED and 1 <= length <= 8
