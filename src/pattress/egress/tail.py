"""The lines that are appended to a log file, across whatever is done to rotate it.

What belongs here: where reading goes on when the file was moved, copied away, removed or made anew. What does not:
one open file (`tail_reader`), and waiting (`follow`). All of it blocks, and is for a thread.
"""

import contextlib
import os
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from pattress.egress.tail_reader import Look, Place, Reader
from pattress.model.errors import reason_of

MAX_SIBLINGS = 1_000  # files that are looked at beside a log; a year of daily rotation is 365
MAX_LEAVING = 4  # files that were moved away and may yet be written to: as many open files
LINGER_LOOKS = 20  # a program goes on writing to a file that was moved until it is told, which takes seconds


class Tail:
    """The end of a log file.

    Without a place it starts at the end of the file; at its beginning, where there was no file at first. With a place
    it goes on there, also where the file was moved or copied away meanwhile (to a name beside it that begins alike).
    """

    def __init__(self, path: Path, place: Place | None = None) -> None:
        self._path = path
        self._kept = place
        self._is_from_start = False
        self._current: Reader | None = None
        self._leaving: list[Reader] = []

    def place(self) -> Place | None:
        """Return how far the lines of all looks go, or None where there never was a file."""
        for reader in self._leaving:
            if reader.is_behind:  # nothing was read yet of what came after it
                return reader.place()
        return self._kept if self._current is None else self._current.place()

    def look(self) -> Look:
        """Return the next lines."""
        look = Look()
        try:
            self._arrive(look)
        except FileNotFoundError:
            self._is_from_start = True
            look.trouble = f"there is no file {self._path}. Correct its name in site.toml, or have it written"
        except OSError as error:
            look.trouble = self._unreadable(error)
        try:
            for reader in self._readers():
                reader.read(look)
        except OSError as error:
            look.trouble = self._unreadable(error)
        self._part(look)
        return look

    def close(self) -> None:
        """Close what is open; it is no error to do so twice."""
        for reader in self._readers():
            reader.close()
        self._leaving, self._current = [], None

    def _readers(self) -> list[Reader]:
        return [*self._leaving, *([] if self._current is None else [self._current])]

    def _arrive(self, look: Look) -> None:
        """Be at the file that has the name now."""
        current = self._current
        status = os.stat(self._path)
        if current is not None and current.is_file(status):
            if not current.goes_on(status):
                self._start_over(current, look)
            return
        with contextlib.ExitStack() as unless_taken:
            opened = Reader(self._path)
            unless_taken.callback(opened.close)
            place = self._kept if current is None else current.place()
            if place is None:
                if not self._is_from_start:
                    opened.go_to_end()
            elif opened.fits(place):  # the same lines as another file, as when it was written anew as a whole
                opened.go_to(place)
                if current is not None:
                    current.close()
            elif current is not None:
                self._leaving.append(current)
            else:
                self._look_for(place, look)
            self._current, self._kept = opened, None
            unless_taken.pop_all()

    def _start_over(self, current: Reader, look: Look) -> None:
        """Begin again with a file that was emptied; what was copied away before is read from there."""
        is_behind, place = current.is_behind, current.place()
        current.go_to_start()
        moved = self._moved(place)
        if moved is not None:
            self._leaving.append(moved)
        elif is_behind:
            look.gaps += 1

    def _look_for(self, place: Place, look: Look) -> None:
        moved = self._moved(place)
        if moved is None:
            look.gaps += 1
        else:
            self._leaving.append(moved)

    def _moved(self, place: Place) -> Reader | None:
        """Return the file beside this one that the place fits, or None."""
        for path in islice(self._siblings(), MAX_SIBLINGS):
            with contextlib.suppress(OSError), contextlib.ExitStack() as unless_taken:
                reader = Reader(path)
                unless_taken.callback(reader.close)
                if reader.fits(place):
                    reader.go_to(place)
                    unless_taken.pop_all()
                    return reader
        return None

    def _siblings(self) -> Iterator[Path]:
        with contextlib.suppress(OSError), os.scandir(self._path.parent) as entries:
            for entry in entries:
                if entry.name.startswith(self._path.stem) and entry.name != self._path.name and entry.is_file():
                    yield Path(entry.path)

    def _part(self, look: Look) -> None:
        """Close files that were moved away, when nothing more is written to them."""
        if not look.is_more:
            for reader in self._leaving:
                reader.looks += 1
        for reader in list(self._leaving):
            if reader.looks > LINGER_LOOKS or len(self._leaving) > MAX_LEAVING:
                look.gaps += reader.is_behind
                reader.read_rest(look)
                reader.close()
                self._leaving.remove(reader)

    def _unreadable(self, error: OSError) -> str:
        return f"{self._path} cannot be read ({reason_of(error)}). Give the user of this program the right to read it"
