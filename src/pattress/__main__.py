"""The console script: runs a command, and turns failures that are raised on purpose into one clear message."""

import os
import sys

from pattress.model.errors import PattressError, SiteFileError


def main() -> None:
    """Run the command line."""
    from pattress.cli.app import application
    from pattress.cli.output import WRONG, tell

    try:
        application(prog_name="pattress")
    except SiteFileError as error:
        for fault in error.faults:
            tell(str(fault))
        tell(f"{error.what}. {error.next_step}.")
        sys.exit(WRONG)
    except PattressError as error:
        tell(str(error))
        sys.exit(WRONG)
    except BrokenPipeError:
        # The reader has had enough. Python would complain once more while it closes stdout.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)


if __name__ == "__main__":
    main()
