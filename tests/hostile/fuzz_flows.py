"""Random and mutated flow export by the million, run by hand: no exception, no hang, no growth.

    PYTHONPATH=tests python -m hostile.fuzz_flows --inputs 1000000

One decoder takes it all, as it would from the network; what it decodes is turned into traffic, too.
"""

import argparse
import random
import resource
import struct
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta

import numpy as np

from pattress.egress.flows.decoder import FlowDecoder
from pattress.egress.flows.traffic import traffic_of
from pattress.egress.tally import Tally
from unit.egress.flows.export import (
    NOW,
    PLAIN,
    REVERSE,
    FieldTold,
    flow_set,
    ipfix_message,
    netflow5_message,
    netflow9_message,
    options_template,
    options_template9,
    plain_record,
    record,
    record5,
    template,
    withdrawal,
)

BATCH = 64
ROWS = 50  # of each columns that are turned into traffic
INTERESTING = (0, 1, 2, 3, 4, 5, 8, 9, 10, 255, 256, 257, 0x7FFF, 0x8000, 0x8008, 0xFFFE, 0xFFFF)
VARIABLE: list[FieldTold] = [(8, 4), (82, 65535), (12, 4), (2, 3), (83, 65535), (56, 6)]
BOTH: list[FieldTold] = [(60, 1), (8, 4), (12, 4), (27, 16), (28, 16), (226, 4), (282, 16), (22, 4), (152, 8), (154, 8)]
BIFLOW: list[FieldTold] = [
    *PLAIN,
    (1, 8, REVERSE),
    (2, 7, REVERSE),
    (6, 2, REVERSE),
    (4, 1),
    (239, 1),
    (233, 1),
    (0, 3, 99),
]


def corpus() -> list[bytes]:
    """Valid messages of every kind, which are taken for mutation."""
    plain = plain_record("192.0.2.17", "203.0.113.9")
    variable = record(VARIABLE, {8: "192.0.2.17", 12: "203.0.113.9", 82: b"\x05quill", 83: b"\xff\x00\x03abc"})
    both = record(BOTH, {60: 6, 8: bytes(4), 12: bytes(4), 27: "2001:db8::7", 28: "2001:db8:bad::9", 282: bytes(16)})
    biflow = record(BIFLOW, {8: "192.0.2.17", 12: "203.0.113.9", 0: bytes(3)}, {1: 90, 2: 1})
    options = options_template(300, [(149, 4)], [(305, 4), (306, 4), (160, 8)])
    told = flow_set(300, struct.pack("!IIIQ", 1, 1, 99, 1_799_000_000_000))
    return [
        ipfix_message(template(256, PLAIN), flow_set(256, plain * 20)),
        ipfix_message(template(257, VARIABLE), flow_set(257, variable * 10)),
        ipfix_message(template(258, BOTH), flow_set(258, both * 10, padding=3)),
        ipfix_message(template(259, BIFLOW), flow_set(259, biflow * 10)),
        ipfix_message(options, told, flow_set(256, plain * 3)),
        ipfix_message(withdrawal(2), withdrawal(300, kind=3), flow_set(256, plain)),
        netflow9_message(template(256, PLAIN, kind=0), flow_set(256, plain * 20)),
        netflow9_message(options_template9(300, [(1, 4)], [(48, 1), (50, 4)]), flow_set(300, bytes(9), padding=3)),
        netflow9_message(template(258, BOTH, kind=0), flow_set(258, both * 10)),
        netflow5_message(*[record5("192.0.2.17", "203.0.113.9", first_ms=2**32 - 1)] * 10, sampling=100),
    ]


def inputs(chance: random.Random, count: int) -> Iterator[bytes]:
    """Yield random octets, and valid messages with one to eight mutations."""
    valid = corpus()
    for _ in range(count):
        kind = chance.random()
        if kind < 0.05:
            yield chance.randbytes(chance.randrange(400))
        elif kind < 0.10:
            yield chance.choice((b"\x00\x05", b"\x00\x09", b"\x00\x0a")) + chance.randbytes(chance.randrange(400))
        elif kind < 0.15:
            yield chance.choice(valid)
        else:
            payload = bytearray(chance.choice(valid))
            for _ in range(chance.randint(1, 8)):
                _mutate(chance, payload, valid)
            if chance.random() < 0.5 and len(payload) >= 4 and payload[:2] == b"\x00\x0a":
                payload[2:4] = struct.pack("!H", len(payload) & 0xFFFF)  # so that what stands behind is looked at
            yield bytes(payload)


def _mutate(chance: random.Random, payload: bytearray, valid: list[bytes]) -> None:
    if len(payload) < 4:
        payload += chance.randbytes(8)
    place = chance.randrange(len(payload))
    match chance.randrange(8):
        case 0:
            payload[place] ^= 1 << chance.randrange(8)
        case 1:
            payload[place] = chance.randrange(256)
        case 2:
            even = place & ~1
            payload[even : even + 2] = struct.pack("!H", chance.choice(INTERESTING))
        case 3:
            del payload[place:]
        case 4:
            payload[place:place] = chance.randbytes(chance.randrange(1, 9))
        case 5:
            del payload[place : place + chance.randrange(1, 9)]
        case 6:
            payload[place:place] = payload[place : place + chance.randrange(1, 60)]
        case _:
            other = chance.choice(valid)
            payload += other[chance.randrange(len(other)) :]


@dataclass
class Outcome:
    """What came of a run. Times are in seconds, memory in KiB."""

    inputs: int = 0
    tally: Tally = field(default_factory=Tally)
    rows: int = 0
    traffic: int = 0
    verdicts: Counter[str | None] = field(default_factory=Counter)
    took_s: float = 0.0
    longest_batch_s: float = 0.0
    growth_kib: int = 0
    templates: int = 0
    held: int = 0


def run(count: int, seed: int) -> Outcome:
    """Feed it all to one decoder; raises whatever that raises."""
    chance = random.Random(seed)
    decoder = FlowDecoder()
    outcome = Outcome()
    began = time.perf_counter()
    before_kib = 0
    batch: list[tuple[str, int, bytes]] = []
    for number, payload in enumerate(inputs(chance, count), start=1):
        exporter = f"192.0.2.{chance.randrange(80)}" if chance.random() < 0.1 else "192.0.2.1"
        batch.append((exporter, chance.randrange(30) if chance.random() < 0.1 else 4000, payload))
        if len(batch) == BATCH or number == count:
            now = NOW + timedelta(seconds=number / 100)
            started = time.perf_counter()
            for columns in decoder.decode(batch, now, lambda _: outcome.tally):
                outcome.rows += columns.count
                rows = np.arange(min(ROWS, columns.count))
                found = traffic_of(columns, rows, "router", now, is_after_filter=False)
                outcome.traffic += len(found)
                outcome.verdicts.update(traffic.verdict for traffic in found)
            outcome.longest_batch_s = max(outcome.longest_batch_s, time.perf_counter() - started)
            outcome.inputs += len(batch)
            batch.clear()
            if not before_kib and number >= count // 5:
                before_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    outcome.took_s = time.perf_counter() - began
    outcome.growth_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kib
    outcome.templates = len(decoder.templates())
    outcome.held = sum(waiting.count for waiting in decoder.waiting())
    FlowDecoder(decoder.templates())
    return outcome


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=7011)
    arguments = parser.parse_args()
    outcome = run(arguments.inputs, arguments.seed)
    print(
        f"{outcome.inputs} inputs in {outcome.took_s:.0f} s, the longest batch of {BATCH} took "
        f"{outcome.longest_batch_s * 1000:.0f} ms"
    )
    print(f"{outcome.tally}; {outcome.rows} rows, {outcome.traffic} turned into traffic {dict(outcome.verdicts)}")
    print(
        f"memory grew by {outcome.growth_kib} KiB after the first fifth; {outcome.templates} templates known, "
        f"{outcome.held} sets held"
    )


if __name__ == "__main__":
    main()
