"""The command line by the clock of an emulated house: `python at_the_box.py CLOCK-FILE close-in ...`.

Minutes at a box pass in seconds where the house runs faster; everything else is the program as it is.
"""

import sys
from pathlib import Path

from pattress.cli import options
from pattress.lab.clock import SharedClock


def main() -> None:
    file, *words = sys.argv[1:]
    options.now = SharedClock(Path(file)).now
    sys.argv = ["pattress", *words]
    from pattress.__main__ import main as pattress

    pattress()


if __name__ == "__main__":
    main()
