"""How each source fares: what came of it, what is known to be missing, what was not taken.

What belongs here: the counts that listeners and parsers share. What does not: judging them.
"""

from dataclasses import dataclass


@dataclass(slots=True)
class Tally:
    """The counts of one source since they were last taken. `trouble` is why it cannot be heard, if anything is.

    `heard` counts records or lines, `lost` what is known to be missing (gaps in sequence numbers, datagrams that the
    kernel dropped, data that could not be read for want of a template), `refused` what was malformed or over a bound,
    `unmatched` what concerned the outside but no device that could be told.
    """

    heard: int = 0
    lost: int = 0
    refused: int = 0
    unmatched: int = 0
    trouble: str | None = None


class Tallies:
    """A tally for each source, by its name. `strangers` counts what senders that the site does not list sent."""

    def __init__(self) -> None:
        self._by_source: dict[str, Tally] = {}
        self.strangers = 0

    def of(self, source: str) -> Tally:
        """Return the tally of a source of the site, of which there are few."""
        return self._by_source.setdefault(source, Tally())

    def take(self) -> dict[str, Tally]:
        """Return the tallies and begin anew; what troubles a source goes on troubling it until that is said over."""
        taken, self._by_source = self._by_source, {}
        for source, tally in taken.items():
            if tally.trouble is not None:
                self.of(source).trouble = tally.trouble
        return taken
