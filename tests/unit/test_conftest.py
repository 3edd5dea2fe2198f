"""The guard of all tests does guard."""

from pathlib import Path

import pytest

pytest_plugins = ["pytester"]

GUARD = (Path(__file__).parents[1] / "conftest.py").read_text(encoding="utf-8")

CASES = {
    "blocks the loop": ("import time\nasync def test_it():\n    time.sleep(1.2)\n", "held the loop"),
    "leaks a task": (
        "import asyncio\nasync def test_it():\n    global kept\n"
        "    kept = asyncio.create_task(asyncio.sleep(60), name='forgotten')\n    await asyncio.sleep(0)\n",
        "tasks left behind",
    ),
    "leaks a thread": (
        "import threading, time\ndef test_it():\n    threading.Thread(target=time.sleep, args=(2.5,)).start()\n",
        "threads left behind",
    ),
    "changes the environment": ("import os\ndef test_it():\n    os.environ['STRAY'] = '1'\n", "environment changed"),
}


@pytest.mark.parametrize("case", CASES)
def test_the_guard_fails_a_test_that(case: str, pytester: pytest.Pytester) -> None:
    source, complaint = CASES[case]
    pytester.makeconftest(GUARD)
    pytester.makepyfile(source)

    result = pytester.runpytest_subprocess(
        "-o", "asyncio_mode=auto", "-o", "asyncio_default_fixture_loop_scope=function"
    )

    assert result.parseoutcomes().get("errors") == 1
    result.stdout.fnmatch_lines([f"*{complaint}*"])
