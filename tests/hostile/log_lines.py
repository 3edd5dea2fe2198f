"""Lines that parsers of logs know, and what a stranger may make of them."""

from datetime import UTC, datetime
from random import Random

from pattress.egress.connections import connection_of
from pattress.egress.framing import MAX_FRAME_BYTES, Framer
from pattress.egress.log_head import moment_of, split_head
from pattress.egress.name_log import MAX_QUESTIONS, NameLog
from pattress.egress.netfilter import FirewallLog
from pattress.egress.syslog import parse_message
from pattress.model.watching import WatchSource

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
PACKET = b"SRC=192.0.2.7 DST=203.0.113.9 LEN=60 TOS=0x00 PREC=0x00 TTL=63 ID=1 DF PROTO=TCP SPT=55554 DPT=8883 "
VALID = (
    b"<4>Nov 25 09:06:15 router kernel: [12.3] iot-drop: IN=iot0 OUT=wan0 "
    b"MAC=02:00:00:00:00:01:02:00:00:00:00:07:08:00 " + PACKET + b"WINDOW=64240 RES=0x00 SYN URGP=0 ",
    b"[12.3] iot-pass IN=iot0 OUT=wan0 MACSRC=02:00:00:00:00:07 MACDST=02:00:00:00:00:01 MACPROTO=0800 " + PACKET,
    b"iot-drop: IN=wan0 OUT=iot0 SRC=fd20:0000:0000:0000:0000:0000:0000:0007 "
    b"DST=2001:0db8:0001:0000:0000:0000:0000:0009 "
    b"LEN=128 TC=0 HOPLIMIT=64 FLOWLBL=1 PROTO=ICMPv6 TYPE=1 CODE=4 [" + PACKET + b"] ",
    b"Feb 29 09:06:15 dnsmasq[15267]: query[A] api.vendor.example from 192.0.2.7",
    b"dnsmasq[15267]: reply api.vendor.example is <CNAME>",
    b"dnsmasq[15267]: reply cloud.vendor.example is 198.51.100.5",
    b"dnsmasq: 7 192.0.2.7/57929 query[AAAA] api.vendor.example from 192.0.2.7",
    b"dnsmasq: 7 192.0.2.7/57929 reply cloud.vendor.example is 2001:db8::5",
    b"client 192.0.2.7#4000 query: x.example IN A -> 198.51.100.5",
    b"ipv4     2 tcp      6 431999 ESTABLISHED src=192.0.2.7 dst=203.0.113.9 sport=56066 dport=8883 packets=5 "
    b"bytes=286 src=203.0.113.9 dst=203.0.113.1 sport=8883 dport=56066 packets=3 bytes=319 [ASSURED] mark=0 use=2",
    b"[1795601141.250000]\t[NEW] udp 17 30 src=fd20::7 dst=2001:db8::9 sport=1 dport=123 [UNREPLIED] src=2001:db8::9",
    b'<165>1 2003-10-11T22:14:15.003Z mymachine.example.com evntslog 12 ID47 [a@1 b="\\"c"][d@2] \xef\xbb\xbftext',
    b"57 <4>2026-11-25T09:06:15.5+01:00 router iot-drop: IN=iot0\n<4>next\0",
)
PIECES = (b" ", b"=", b"[", b"]", b'"', b"\\", b":", b"\0", b"\n", b"\xff", b"%", b"<", b">", b" SRC=", b"IN=", b" is ")
PIECES += (
    b"0001-01-01T00:00:00+23:59 ",
    b"Jan  1 9999 00:00:00 ",
    b" from ",
    b"src=",
    b"99999999999999999999",
    b"\xd9\xa1",
    b"\xe2\x80\xa8",
    b" PROTO=",
    b"[UNREPLIED]",
    b"-1",
)
OWN = r"client (?P<asker>\S+)#\d+ query: (?P<name>\S+) IN (?P<type>\S+)(?: -> (?P<answer>\S+))?"


def hostile_bytes(random: Random) -> bytes:
    """Return a line that is random, or a known one that was changed, cut, doubled or mixed with another."""
    if random.random() < 0.15:
        return random.randbytes(random.randrange(300))
    line = bytearray(random.choice(VALID))
    for _ in range(random.randrange(5)):
        at = random.randrange(len(line) + 1)
        match random.randrange(6):
            case 0:
                line[at : at + 1] = random.randbytes(1)
            case 1:
                line[at:at] = random.choice(PIECES)
            case 2:
                del line[at : at + random.randrange(1, 20)]
            case 3:
                line[at:] = random.choice(VALID)[at:]
            case 4:
                line[at:at] = line[at : at + 30] * random.randrange(1, 4)
            case _:
                del line[at:]
    return bytes(line)


class Parsers:
    """Every parser of logs, its tables as full as what it was given made them."""

    def __init__(self) -> None:
        self.firewall = FirewallLog(
            WatchSource(name="f", kind="firewall", verdicts={"iot-drop": "dropped", "iot-pass": "let-through"})
        )
        self.names = NameLog(WatchSource(name="n", kind="names"))
        self.own_names = NameLog(WatchSource(name="o", kind="names", pattern=OWN))
        self.framer = Framer()
        self.told: dict[str, int] = {}

    def take(self, data: bytes) -> None:
        """Give the same bytes to every parser, and look at the bounds of what they keep and of what they tell."""
        text = data.decode("utf-8", "replace")
        message = parse_message(data)
        self._count("syslog", message is not None)
        stamp = split_head(text).stamp
        moment = None if stamp is None else moment_of(stamp, NOON)
        assert moment is None or moment.astimezone(UTC)
        for line in (text,) if message is None else (text, message.line):
            traffic = self.firewall.evidence(line, NOON)
            self._count("netfilter", traffic is not None)
            connection = connection_of(line, "c", NOON)
            self._count("connections", connection is not None)
            assert connection is None or 0 <= (connection.expires_s or 0) < 2**63
            for told in (traffic, None if connection is None else connection.traffic):
                assert told is None or _is_bounded(told.sender_port, told.receiver_port, told.packets, told.octets)
            for names in (self.names, self.own_names):
                evidence = names.evidence(line, NOON)
                self._count("names", bool(evidence))
                assert len(evidence) <= 2
                assert all(0 < len(one.name) <= 253 for one in evidence)
        frames = self.framer.feed(data)
        self._count("framing", bool(frames))
        assert all(len(frame) <= MAX_FRAME_BYTES for frame in frames)
        assert len(self.framer._buffer) <= MAX_FRAME_BYTES
        assert len(self.names._questions) <= MAX_QUESTIONS

    def _count(self, parser: str, is_told: bool) -> None:
        self.told[parser] = self.told.get(parser, 0) + is_told


def _is_bounded(sender_port: int | None, receiver_port: int | None, packets: int, octets: int) -> bool:
    ports = all(0 <= (port or 0) <= 65535 for port in (sender_port, receiver_port))
    return ports and 0 <= packets < 2**63 and 0 <= octets < 2**63
