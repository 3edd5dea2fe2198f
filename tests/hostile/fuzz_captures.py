"""Random and mutated captures by the million, run by hand: nothing worse than the one error, no hang, no growth.

    PYTHONPATH=tests python -m hostile.fuzz_captures --inputs 1000000

Each input is a file, which is written to memory (`/dev/shm`) where there is such a place.
"""

import argparse
import random
import resource
import struct
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from pattress.egress.captures import datagrams_of
from pattress.egress.tally import Tally
from pattress.model.errors import CaptureError
from unit.egress.captured_bytes import IPFIX, ethernet, ip4, ip6, ip6_fragment, pcap, pcapng, udp

INTERESTING = (0, 1, 2, 3, 4, 7, 8, 12, 0x7F, 0x80, 0xFF)
STARTS = (b"\xd4\xc3\xb2\xa1", b"\xa1\xb2\x3c\x4d", b"\x0a\x0d\x0d\x0a", b"\x00\x0a", b"\x00\x05", b"")


@dataclass
class Outcome:
    """What came of a run. Times are in seconds, memory in KiB."""

    inputs: int = 0
    errors: int = 0
    datagrams: int = 0
    lost: int = 0
    took_s: float = 0.0
    longest_s: float = 0.0
    growth_kib: int = 0


def corpus(folder: Path) -> list[bytes]:
    """Valid captures of both formats, which are taken for mutation."""
    long = udp(IPFIX + bytes(1000))
    packets = [
        ethernet(ip4(udp(IPFIX)), tags=bytes.fromhex("81000014")),
        *(ethernet(ip4(long[at : at + 400], offset=at, has_more=at + 400 < len(long))) for at in range(0, 1024, 400)),
        *(ethernet(ip6_fragment(long[at : at + 600], offset=at, has_more=at == 0)) for at in (0, 600)),
        ethernet(ip6(bytes([17, 0, 1, 4, 0, 0, 0, 0]) + udp(IPFIX), following=0)),
    ]
    bare = [packet[14:] for packet in packets[1:]]
    files = [pcap(folder / "a", packets), pcapng(folder / "b", packets)]
    files += [pcap(folder / "c", bare, link_type=101), pcapng(folder / "d", bare, link_type=101)]
    return [file.read_bytes() for file in files]


def run(count: int, seed: int) -> Outcome:
    """Read them all; raises whatever is raised that should not be."""
    chance = random.Random(seed)
    outcome = Outcome()
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as name:
        valid = corpus(Path(name))
        path = Path(name) / "input"
        began_s = time.perf_counter()
        before_kib = 0
        for number in range(1, count + 1):
            path.write_bytes(_input(chance, valid))
            _read(path, outcome)
            if not before_kib and number >= count // 5:
                before_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        outcome.took_s = time.perf_counter() - began_s
    outcome.growth_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kib
    return outcome


def _read(path: Path, outcome: Outcome) -> None:
    tally = Tally()
    started_s = time.perf_counter()
    try:
        for _ in datagrams_of(path, tally):
            outcome.datagrams += 1
    except CaptureError:
        outcome.errors += 1
    outcome.longest_s = max(outcome.longest_s, time.perf_counter() - started_s)
    outcome.inputs += 1
    outcome.lost += tally.lost


def _input(chance: random.Random, valid: list[bytes]) -> bytes:
    if chance.random() < 0.05:
        return chance.choice(STARTS) + chance.randbytes(chance.randrange(400))
    content = bytearray(chance.choice(valid))
    for _ in range(chance.randint(0, 8)):
        place = chance.randrange(len(content) or 1)
        match chance.randrange(6):
            case 0 if content:
                content[place] ^= 1 << chance.randrange(8)
            case 1 if content:
                content[place] = chance.choice(INTERESTING)
            case 2:
                content[place & ~3 : (place & ~3) + 4] = struct.pack("<I", chance.choice((*INTERESTING, 2**32 - 1)))
            case 3:
                content[place:place] = content[place : place + 4 * chance.randrange(1, 60)]
            case 4:
                del content[place : place + chance.randrange(1, 40)]
            case _:
                if chance.random() < 0.3:
                    del content[place:]
    return bytes(content)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=791)
    arguments = parser.parse_args()
    outcome = run(arguments.inputs, arguments.seed)
    print(
        f"{outcome.inputs} files in {outcome.took_s:.0f} s, the longest took {outcome.longest_s * 1000:.0f} ms;"
        f" {outcome.errors} ended in the error, {outcome.datagrams} datagrams were found, {outcome.lost} were lost"
    )
    print(f"memory grew by {outcome.growth_kib} KiB after the first fifth")


if __name__ == "__main__":
    main()
