"""Reports of an audit into files: which are wanted, and writing each so that a reader never finds half a file.

What belongs here: targets and writing. What does not: what a report says.
"""

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from pattress.model.errors import ReportError, UsageError

if TYPE_CHECKING:
    from pattress.report.formats import AuditResult, Format

STDOUT = "-"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One report that is wanted, and where it goes: a path, or `-` for stdout."""

    format: "Format"
    target: str


def wanted_reports(words: Iterable[str]) -> list[Wanted]:
    """Return what `FORMAT=FILE` words ask for.

    Raises:
        UsageError: If one cannot be understood, or two go to one place.
    """
    wanted = [_wanted(word) for word in words]
    targets = [one.target if one.target == STDOUT else os.path.realpath(one.target) for one in wanted]
    twice = next((target for target in targets if targets.count(target) > 1), None)
    if twice is not None:
        raise _usage(f"two reports go to {twice}", "Give each a file of its own.")
    return wanted


def write_reports(result: "AuditResult", wanted: Sequence[Wanted]) -> list[str]:
    """Write each wanted report into its file; return in words what could not be written."""
    from pattress.report.formats import written

    failures = []
    for one in wanted:
        try:
            write_whole(one.target, (piece.encode("utf-8") for piece in written(result, one.format)))
        except OSError as error:
            failures.append(f"{one.format} report into {one.target} ({error.strerror or error})")
    return failures


def write_whole(target: str, content: Iterable[bytes]) -> None:
    """Write beside the target and put it in its place, so that it is the old file or the new one, never a part."""
    path = Path(os.path.realpath(target))  # through a link, so that the link stays one
    if path.exists() and not path.is_file():
        with path.open("wb") as file:  # a pipe or a terminal has no old state to keep; a folder says that it is one
            file.writelines(content)
        return
    beside = path.with_name(f".pattress-{os.getpid()}.part")
    try:
        with beside.open("xb") as file:
            file.writelines(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def unwritten(failures: Sequence[str]) -> ReportError:
    """Return the error for reports that could not be written."""
    return ReportError(
        f"could not write the {'; the '.join(failures)}",
        where="pattress audit",
        next_step="The audit itself is kept. See that the folder is there, may be written to and has room.",
    )


def _wanted(word: str) -> Wanted:
    from pattress.report.formats import FORMATS

    name, separator, target = word.partition("=")
    for known in FORMATS:
        if known == name and separator and target:
            return Wanted(format=known, target=target if target == STDOUT else os.path.expanduser(target))
    if name in FORMATS:
        raise _usage(f"{word!r} names no file", f"Write for example {name}=report.{name}, or {name}=- for stdout.")
    near = get_close_matches(name, FORMATS, n=1)
    hint = f"Did you mean {near[0]}? " if near else ""
    raise _usage(f"there is no report format {name!r}", f"{hint}Use FORMAT=FILE with one of: {', '.join(FORMATS)}.")


def _usage(what: str, next_step: str) -> UsageError:
    return UsageError(what, where="pattress audit --report", next_step=next_step)
