"""The files of one policy: its own, and all that it includes, each read once.

What belongs here: which files, in which order, and faults of `include`. What does not: what else they hold
(`policy_file`).
"""

import os
from dataclasses import dataclass
from pathlib import Path

from pattress.site.files import TomlFile, read_toml
from pattress.site.names import nearest
from pattress.site.places import A_POLICY, is_policy_file, policy_path, shipped_policy_names, shown_name
from pattress.site.words import said

MAX_POLICY_FILES = 32  # of 1 MiB each at most; a chain of policies that long is read by nobody


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyPart:
    """One file of a policy. `includes` holds the paths of all files that it includes, also through others."""

    path: Path
    file: TomlFile
    includes: frozenset[Path] = frozenset()

    @property
    def names_includes(self) -> bool:
        """Whether it says that it includes something, right or wrong."""
        return bool(self.file.data.get("include"))


def read_policy_parts(path: Path, folder: Path) -> tuple[PolicyPart, ...]:
    """Return a policy's files, the included before the including, so that its own is the last.

    `folder` is what faults name files relative to. What is wrong with an `include` is a fault of the file that it
    stands in.
    """
    reader = _PartsReader(folder)
    reader.read(path, ())
    return tuple(reader.parts)


class _PartsReader:
    def __init__(self, folder: Path) -> None:
        self.parts: list[PolicyPart] = []
        self._folder = folder
        self._files: dict[Path, TomlFile] = {}

    def read(self, path: Path, way: tuple[Path, ...]) -> PolicyPart:
        """Read a file and, before it is added, what it includes. `way` leads to it from the policy's own file."""
        key = path.resolve()
        file = self._files[key] = read_toml(path, shown_name(path, self._folder))
        includes: dict[Path, int] = {}
        closure: set[Path] = set()
        written = file.data.get("include")
        for index, name in enumerate(written if isinstance(written, list) else ()):
            if not isinstance(name, str) or not name.strip():
                continue  # a fault of the file's shape
            found = self._found(file, index, name, path.parent)
            if found is None:
                continue
            included = found.resolve()
            if included in includes:
                line = file.lines.line_of(("include", includes[included]))
                again = f"{said(name)} again (first in line {line})"
                file.fault(("include", index), found=again, expected="each policy once")
                continue
            includes[included] = index
            if included in (*way, key):
                circle = [*way, key][[*way, key].index(included) :]
                words = " includes ".join(self._files[one].shown for one in [*circle, included])
                file.fault(
                    ("include", index), found=f"a circle: {words}", expected="a policy that leads back to no other"
                )
                continue
            part = next((part for part in self.parts if part.path == included), None)
            if part is None and len(self._files) >= MAX_POLICY_FILES:
                expected = f"at most {MAX_POLICY_FILES} files that make one policy"
                file.fault(("include", index), found="one more file", expected=expected)
                continue
            part = part or self.read(found, (*way, key))
            closure |= {included, *part.includes}
        part = PolicyPart(path=key, file=file, includes=frozenset(closure))
        self.parts.append(part)
        return part

    def _found(self, file: TomlFile, index: int, name: str, folder: Path) -> Path | None:
        path = policy_path(name, folder)
        # Not the method of the path: it raises where a name is longer than the file system allows.
        if os.path.isfile(path) and (is_policy_file(name) or name in shipped_policy_names()):
            return path
        near = [*shipped_policy_names(), *sorted(one.name for one in folder.glob("*.toml"))]
        file.fault(("include", index), found=said(name), expected=A_POLICY, nearest=nearest(name, near))
        return None
