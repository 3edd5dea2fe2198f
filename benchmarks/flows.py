"""Flow export decoded and judged, from memory and from a socket, and log lines of a packet filter."""

from collections.abc import Callable

from benchmarks import filter_lines, flow_memory, flow_receivers
from benchmarks.flow_receivers import Highest, Trial
from benchmarks.measured import Benchmark, Measured, Size


def measure(size: Size) -> Benchmark:
    """Measure each beside its reference."""
    of_memory, note = flow_memory.measured(size)
    of_socket, notes = _from_a_socket(size)
    return Benchmark(
        title="flows: IPFIX of a house in datagrams of 25 records, 1 % of them outside; a packet filter's log",
        figures=[*of_memory, *of_socket, *filter_lines.measured(size)],
        notes=[note, *notes],
    )


def _from_a_socket(size: Size) -> tuple[list[Measured], list[str]]:
    seconds = 0.2 if size.is_tiny else 2.0
    ours = _fastest(flow_receivers.ours, seconds, size)
    theirs = _fastest(flow_receivers.nfcapd, seconds, size) if flow_receivers.has_nfcapd() else Highest(None, False)
    if ours.trial is None:
        raise RuntimeError("our listener loses records at the lowest rate")
    notes = [
        f"from a socket: both with {flow_receivers.granted_buffer_bytes() // 1024} KiB of receive buffer,"
        " on the same machine as the sender",
        f"our listener: {_told(ours.trial, ours.has_lost)}",
    ]
    if theirs.trial is not None:
        notes.append(f"nfcapd: {_told(theirs.trial, theirs.has_lost)}")
    else:
        notes.append("nfcapd loses records at the lowest rate" if theirs.has_lost else "nfcapd is not installed")

    def figure(what: str, of: Callable[[Trial], float], measured: Trial) -> Measured:
        reference = None if theirs.trial is None else of(theirs.trial)
        return Measured(what=what, unit="ns", ours=of(measured), reference=reference, beside="nfcapd, only writes")

    return [
        figure("a record at the fastest stream without loss", lambda one: 1e9 / one.rate, ours.trial),
        figure("processor time of a record from a socket", lambda one: 1e9 * one.processor_s / one.heard, ours.trial),
    ], notes


def _fastest(trial: Callable[[float, float], Trial], seconds: float, size: Size) -> Highest:
    if size.is_tiny:
        tried = trial(flow_receivers.FIRST_RATE, seconds)
        return Highest(tried if tried.is_whole else None, not tried.is_whole)
    return flow_receivers.highest(lambda rate: trial(rate, seconds))


def _told(trial: Trial, has_lost: bool) -> str:
    limit = "a faster one lost some" if has_lost else "the sender can send no faster"
    return (
        f"{trial.rate / 1e6:.2f} million records a second for {trial.seconds:.1f} s, none of {trial.sent} lost; {limit}"
    )
