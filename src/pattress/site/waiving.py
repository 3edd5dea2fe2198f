"""A new waiver, added at the end of waivers.toml: what a person wrote there stays as it is.

What belongs here: the text of one waiver, and putting it in force only once the whole file is right.
"""

import json
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from pattress.model.errors import UsageError
from pattress.model.rules import Waiver
from pattress.site.places import WAIVERS_FILE

HEAD = "# Accepted exceptions. Each names one rule, at one point or device, with a reason and an end.\n"


def add_waiver(folder: Path, waiver: Waiver, check: Callable[[Path], object]) -> Path:
    """Add a waiver to the site's file, and return the file. Either the whole of it is there, or nothing has changed.

    `check` loads the site with the waivers of the file that it is given; what it raises goes through.

    Raises:
        UsageError: If the folder cannot be written.
    """
    path = folder / WAIVERS_FILE
    before = path.read_text(encoding="utf-8") if path.exists() else HEAD
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=folder, prefix=".waivers-", suffix=".toml", delete=False
        ) as stream:
            tried = Path(stream.name)
            stream.write(before.rstrip("\n") + "\n\n" + waiver_text(waiver))
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        raise UsageError(
            f"the waiver cannot be written: {error.strerror}",
            where=str(folder),
            next_step="Run it as the owner of the site's files.",
        ) from error
    try:
        check(tried)
        tried.chmod(path.stat().st_mode & 0o777 if path.exists() else 0o644)
        tried.replace(path)
    finally:
        tried.unlink(missing_ok=True)
    return path


def waiver_text(waiver: Waiver) -> str:
    """Return one `[[waiver]]` table."""
    fields = {
        "rule": waiver.rule,
        "point": waiver.point,
        "device": waiver.device,
        "reason": waiver.reason,
        "who": waiver.who,
        "safe_because": waiver.safe_because,
    }
    # A JSON string is a TOML basic string: the same quotes, the same escapes; DEL is the one that JSON leaves bare.
    lines = [
        f"{key} = {json.dumps(text, ensure_ascii=False).replace(chr(127), '')}"
        for key, text in fields.items()
        if text is not None
    ]
    return "\n".join(["[[waiver]]", *lines, f"until = {waiver.until.isoformat()}"]) + "\n"
