"""The outcome of looking through the database, for people and for machines. What does not belong here: looking."""

from typing import Any

from pattress.model.kept import Examination
from pattress.report.visible import visible

MEGABYTE = 1_000_000


def examination_text(found: Examination, path: str) -> str:
    """Return what is in a database and what is wrong with it."""
    log = f", and {_size(found.log_bytes)} in its log" if found.log_bytes else ""
    newer = "" if found.schema == found.newest_schema else f" (this program writes {found.newest_schema})"
    width = max((len(table) for table in found.rows), default=0)
    lines = [
        visible(path),
        f"  {_size(found.size_bytes)}, of which {_size(found.free_bytes)} are unused{log}",
        f"  schema {found.schema}{newer}, SQLite {found.sqlite_version}",
        *(f"  {table:{width}} {count:>10,} {'row' if count == 1 else 'rows'}" for table, count in found.rows.items()),
    ]
    if found.is_sound:
        lines.append("It is sound.")
    else:
        lines += ["It is DAMAGED:", *(visible(f"  {problem}") for problem in found.problems)]
    return "\n".join(lines) + "\n"


def examination_document(found: Examination, path: str) -> dict[str, Any]:
    """Return the same as `pattress.store-check/1`."""
    return {
        "schema": "pattress.store-check/1",
        "file": path,
        "is_sound": found.is_sound,
        "problems": list(found.problems),
        "database_schema": found.schema,
        "newest_schema": found.newest_schema,
        "sqlite_version": found.sqlite_version,
        "size_bytes": found.size_bytes,
        "log_bytes": found.log_bytes,
        "free_bytes": found.free_bytes,
        "rows": dict(found.rows),
    }


def _size(count: int) -> str:
    return f"{count / MEGABYTE:.1f} MB"
