"""A process that sends flow export over UDP at a steady pace, and says in JSON how much it sent in what time."""

import json
import socket
import sys
import time

from benchmarks.flow_stream import RECORDS_A_DATAGRAM, TEMPLATE_EVERY, datagrams, endless

STEP_S = 0.001  # how finely it is paced
MOST_AT_ONCE = 1_000


def main() -> None:
    """Send to a port of loopback; the words are port, records a second, and seconds."""
    port, records_a_second, seconds = int(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3])
    messages = endless(datagrams(10 * TEMPLATE_EVERY * RECORDS_A_DATAGRAM))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sending:
        sending.connect(("127.0.0.1", port))
        send, now = sending.send, time.perf_counter
        sent = 0
        started_s = now()
        while (passed_s := now() - started_s) < seconds:
            due = int(records_a_second * passed_s / RECORDS_A_DATAGRAM)
            # Whoever is behind its pace looks at the clock all the same.
            for _ in range(min(due - sent, MOST_AT_ONCE)):
                send(next(messages))
                sent += 1
            if sent >= due:
                time.sleep(STEP_S)
        took_s = now() - started_s
    print(json.dumps({"records": sent * RECORDS_A_DATAGRAM, "seconds": took_s}))


if __name__ == "__main__":
    main()
