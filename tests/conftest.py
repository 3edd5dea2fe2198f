"""Every test is honest about the loop and what it leaves behind, or it fails."""

import asyncio
import asyncio.runners
import os
import threading
import time
from collections.abc import Iterator

import pytest

ENDING_S = 1.0  # a thread that was told to end, or waits for a process that has ended, may take this long
BLOCKED_S = 1.0  # wall time of one callback; a healthy one takes under 10 ms, and test machines are busy


@pytest.fixture(autouse=True)
def _leaves_nothing_behind(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Fail a test that blocks the event loop, leaves a task or thread behind, or changes the environment."""
    blocked: list[str] = []
    leaked: list[str] = []
    run_handle = asyncio.Handle._run
    cancel_all = asyncio.runners._cancel_all_tasks

    def timed(handle: asyncio.Handle) -> None:
        started_at = time.perf_counter()
        run_handle(handle)
        took_s = time.perf_counter() - started_at
        if took_s > BLOCKED_S:
            blocked.append(f"{handle!r} held the loop for {took_s:.2f} s")

    def recorded(loop: asyncio.AbstractEventLoop) -> None:
        leaked.extend(task.get_name() for task in asyncio.all_tasks(loop) if not task.done())
        cancel_all(loop)

    monkeypatch.setattr(asyncio.Handle, "_run", timed)
    monkeypatch.setattr(asyncio.runners, "_cancel_all_tasks", recorded)
    threads = set(threading.enumerate())
    environment = dict(os.environ)
    yield
    monkeypatch.undo()  # what a test changed through it was put back, not left behind
    own = ("PYTEST_CURRENT_TEST", "COLUMNS", "LINES")
    changed = {
        key
        for key in environment.keys() | os.environ.keys()
        if key not in own and environment.get(key) != os.environ.get(key)
    }
    left = [thread.name for thread in set(threading.enumerate()) - threads if not _ends(thread)]
    assert not blocked, blocked
    assert not leaked, f"tasks left behind: {leaked}"
    assert not left, f"threads left behind: {left}"
    assert not changed, f"environment changed: {sorted(changed)}"


def _ends(thread: threading.Thread) -> bool:
    thread.join(ENDING_S)
    return not thread.is_alive()
