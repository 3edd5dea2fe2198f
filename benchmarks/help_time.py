"""How soon `pattress --help` is there, beside Python that does nothing and Python that imports the command library."""

import statistics
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from benchmarks.measured import Benchmark, Measured, Size

HELP_MS_AT_MOST = 150
HEAVY = (
    "aiohttp", "amqtt", "asyncio", "jmespath", "numpy", "paho", "pydantic", "rich", "sqlite3", "sqlite_utils",
    "zeroconf",
)  # fmt: skip
LIST_HEAVY = """
import sys
from pattress.__main__ import main
sys.argv = ["pattress", "--help"]
try:
    main()
except SystemExit:
    print(*(name for name in {heavy} if name in sys.modules), file=sys.stderr)
"""


def measure(size: Size) -> Benchmark:
    """Run all commands in turn, many times; keep the median of each."""
    script = Path(sys.executable).with_name("pattress")
    ours = [str(script)] if script.exists() else [sys.executable, "-m", "pattress"]
    commands = {
        "help": [*ours, "--help"],
        "nothing": [sys.executable, "-c", "pass"],
        "typer": [sys.executable, "-c", "import typer"],
    }
    took: dict[str, list[float]] = {name: [] for name in commands}
    for command in commands.values():
        _run_ms(command)  # once before it counts, so that every file has been read from the disk
    for _ in range(size.of(full=15, tiny=1)):
        for name, command in commands.items():
            took[name].append(_run_ms(command))
    median = {name: statistics.median(times) for name, times in took.items()}
    heavy = _heavy()
    return Benchmark(
        title="help_time: pattress --help",
        figures=[
            Measured(what="median", unit="ms", ours=median["help"], reference=median["nothing"],
                     beside="python -c pass", ours_at_most=HELP_MS_AT_MOST),
            Measured(what="median", unit="ms", ours=median["help"], reference=median["typer"],
                     beside='python -c "import typer"'),
            Measured(what="heavy modules imported", unit="", ours=len(heavy), ours_at_most=0),
        ],
        notes=[f"heavy modules: {', '.join(heavy) or 'none'} (looked for: {', '.join(HEAVY)})"],
    )  # fmt: skip


def _heavy() -> list[str]:
    program = LIST_HEAVY.format(heavy=repr(HEAVY))
    ended = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, text=True)
    if "Usage" not in ended.stdout:
        raise RuntimeError("the help was not shown, so that what it imports is not known")
    return ended.stderr.split()


def _run_ms(command: Sequence[str]) -> float:
    started_s = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return (time.perf_counter() - started_s) * 1_000
