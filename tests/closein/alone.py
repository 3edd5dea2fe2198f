"""One visit by its name, in a process of its own: `python -m closein.alone NAME FOLDER`.

What the terminal shows is printed as it comes; the outcome is left in the folder for the test.
"""

import asyncio
import pickle
import sys
from pathlib import Path

from closein.scenarios import VISITS
from closein.visit import Outcome, visited

OUTCOME = "outcome.pickle"


def main() -> None:
    name, folder = sys.argv[1], Path(sys.argv[2])
    outcome = asyncio.run(_visited(name, folder))
    (folder / OUTCOME).write_bytes(pickle.dumps(outcome))


async def _visited(name: str, folder: Path) -> Outcome:
    outcome = await visited(VISITS[name], folder, show=lambda shown: print(shown, end="", flush=True))
    left = asyncio.all_tasks() - {asyncio.current_task()}
    assert not left, f"tasks left behind: {sorted(task.get_name() for task in left)}"
    return outcome


if __name__ == "__main__":
    main()
