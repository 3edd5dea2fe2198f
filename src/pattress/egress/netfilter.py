"""Log lines of the kernel's packet filter into evidence: text in, a record out.

What belongs here: the line that nftables and iptables have the kernel write, in both of its styles. What does not:
reading it from a file or the network, and judging it. The line has no version and no grammar: keys repeat (`LEN`,
`ID`), flags stand bare, and an error of ICMP quotes the packet it is about in brackets, which is another packet.
"""

import re
from datetime import datetime
from functools import lru_cache

from pattress.egress.log_head import MAX_LINE_LENGTH, LogHead, address_of, split_head
from pattress.model.addresses import normal_mac
from pattress.model.encounter import Side, Traffic, Verdict
from pattress.model.watching import WatchSource


class FirewallLog:
    """The lines of one source."""

    def __init__(self, source: WatchSource) -> None:
        self._source = source.name
        verdicts = [(prefix.rstrip(" :") or prefix, verdict) for prefix, verdict in source.verdicts.items()]
        # The longest first, so that `iot-drop-late` is told from `iot-drop`.
        self._verdicts = sorted(verdicts, key=lambda item: len(item[0]), reverse=True)

    def evidence(self, text: str, now: datetime) -> Traffic | None:
        """Return what a line says of a packet, or None where the packet filter did not write it.

        The line may have the head of a log file or the time since the kernel started before it. Octets are those of
        the IP packet.
        """
        source_at = text.find(" SRC=", 0, MAX_LINE_LENGTH)
        if source_at < 0:  # nearly every line that is not of the filter ends here
            return None
        packet = _ADDRESSES.match(text, source_at)
        out_at = text.rfind(" OUT=", 0, source_at)
        in_at = text.rfind("IN=", 0, out_at)
        if packet is None or out_at < 0 or in_at < 0:
            return None
        sender, receiver = address_of(packet[1]), address_of(packet[2])
        head = split_head(text[:in_at])
        verdict = self._verdict(head)
        if sender is None or receiver is None or (verdict is None and _is_foreign(head)):
            return None
        protocol, icmp_type, sender_port, receiver_port, flags = _transport(text, packet.end())
        return Traffic(
            source=self._source,
            at=now,
            sender=sender,
            receiver=receiver,
            protocol=protocol,
            sender_port=sender_port,
            receiver_port=receiver_port,
            icmp_type=icmp_type,
            packets=1,
            octets=int(packet[3] or 0),
            flags=flags,
            verdict=verdict,
            initiator=_initiator(flags),
            sender_mac=_sender_mac(text[out_at:source_at]),
        )

    def _verdict(self, head: LogHead) -> Verdict | None:
        # Where the kernel's own tag is missing, the prefix of the rule stands where the tag would.
        prefix = head.text if head.program in _WRITERS else head.line
        if prefix.startswith("["):
            prefix = _SINCE_START.sub("", prefix, count=1)
        return next((verdict for known, verdict in self._verdicts if prefix.startswith(known)), None)


def _is_foreign(head: LogHead) -> bool:
    """Whether another program wrote the line, which may quote what a stranger sent it: its tag has a process id."""
    return head.process_id is not None and head.program not in _WRITERS


def _transport(text: str, start: int) -> tuple[int | None, int | None, int | None, int | None, int | None]:
    """Return protocol, ICMP type, both ports and TCP flags, each None where the line does not have it.

    Nothing behind an opening bracket is looked at: it is the quoted packet, or how many bytes of a packet were missing.
    """
    end = text.find(" [", start, MAX_LINE_LENGTH)
    end = min(len(text), MAX_LINE_LENGTH) if end < 0 else end
    found = _TRANSPORT.match(text, max(text.find(" PROTO=", start, end), 0), end)
    if found is None:
        return None, None, None, None, None
    name, icmp_type, sender_port, receiver_port, flags = found.groups()
    return (
        _within(name, 255) if name.isdecimal() else _PROTOCOLS.get(name),
        _within(icmp_type, 255),
        _within(sender_port, 65535),
        _within(receiver_port, 65535),
        None if flags is None else _flag_bits(flags),
    )


def _within(text: str | None, most: int) -> int | None:
    return None if text is None or int(text) > most else int(text)


@lru_cache(maxsize=256)  # eight flags in the kernel's one order make 256 texts
def _flag_bits(words: str) -> int:
    return sum(_TCP_FLAGS[word] for word in set(words.split()) & _TCP_FLAGS.keys())


def _initiator(flags: int | None) -> Side | None:
    """Only the first two packets of a TCP connection tell who began (RFC 9293 section 3.5)."""
    if flags is None or not flags & _TCP_FLAGS["SYN"]:
        return None
    return "receiver" if flags & _TCP_FLAGS["ACK"] else "sender"


def _sender_mac(link: str) -> str | None:
    """Return the hardware address of the host that handed the packet over: `link` stands between `OUT=` and `SRC=`."""
    found = _MAC.search(link)
    return None if found is None else _normal_mac(found[1] or found[2])


@lru_cache(maxsize=1024)  # texts of 17 characters, about 150 bytes each: 150 kB
def _normal_mac(text: str) -> str | None:
    return normal_mac(text)


_WRITERS = ("kernel", "ulogd", "ulogd2")
_SINCE_START = re.compile(r"\[ *[0-9]+\.[0-9]+\] ?")
# The kernel names these and writes the number of any other protocol.
_PROTOCOLS = {"ICMP": 1, "TCP": 6, "UDP": 17, "ESP": 50, "AH": 51, "ICMPv6": 58, "UDPLITE": 136}
_TCP_FLAGS = {"FIN": 1, "SYN": 2, "RST": 4, "PSH": 8, "ACK": 16, "URG": 32, "ECE": 64, "CWR": 128}
_ADDRESSES = re.compile(r" SRC=([0-9A-Fa-f:.]{2,45}) DST=([0-9A-Fa-f:.]{2,45})(?: LEN=([0-9]{1,6}))?(?![^ ])")
_TRANSPORT = re.compile(
    r" PROTO=(\w{1,8})(?![^ ])(?: TYPE=([0-9]{1,3})(?![^ ]))?(?: SPT=([0-9]{1,5}) DPT=([0-9]{1,5})(?![^ ]))?"
    r"(?:(?: SEQ=[0-9]+ ACK=[0-9]+)? WINDOW=[0-9]+ RES=0x[0-9A-Fa-f]{1,2} ((?:[A-Z]{3} )*))?",
    re.ASCII,
)
# Ethernet's header as it is (receiver, sender, type), 14 bytes and no more; or each part by its name.
_MAC = re.compile(
    r" MAC=[0-9a-f:]{17}:([0-9a-f:]{17}):[0-9a-f]{2}:[0-9a-f]{2}(?![^ ])"
    r"| MACSRC=([0-9a-f:]{17})(?![^ ])"
)
