"""One measured figure, its reference and its goal; and the table of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

HEADINGS = ("what", "ours", "reference", "ratio", "goal", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How much to measure. A tiny run shows that the measurement works; its figures mean nothing."""

    is_tiny: bool

    def of(self, full: int, tiny: int) -> int:
        """Return the count that belongs to this size."""
        return tiny if self.is_tiny else full


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One figure beside its reference, both in `unit`.

    Of the goals at most one is given: the most that the ratio (ours by reference), or our own figure, may be.
    """

    what: str
    unit: str
    ours: float
    reference: float | None = None
    beside: str = ""
    ratio_at_most: float | None = None
    ours_at_most: float | None = None

    @property
    def ratio(self) -> float | None:
        """Ours by the reference; None where there is none."""
        return None if self.reference is None else self.ours / self.reference

    @property
    def is_met(self) -> bool | None:
        """Whether the goal is met; None where there is none."""
        if self.ratio_at_most is not None and self.ratio is not None:
            return self.ratio <= self.ratio_at_most
        return None if self.ours_at_most is None else self.ours <= self.ours_at_most


@dataclass(frozen=True, slots=True, kw_only=True)
class Benchmark:
    """What one benchmark gave, and what a reader of its figures must know."""

    title: str
    figures: Sequence[Measured]
    notes: Sequence[str] = ()


def shown(benchmark: Benchmark, *, is_judged: bool) -> str:
    """Return the figures of a benchmark as a plain table under its title."""
    rows = [HEADINGS, *(_cells(figure, is_judged=is_judged) for figure in benchmark.figures)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADINGS))]
    lines = [benchmark.title, *("  ".join(_laid_out(row, widths)).rstrip() for row in rows)]
    return "\n".join([*lines, *(f"({note})" for note in benchmark.notes)])


def _cells(figure: Measured, *, is_judged: bool) -> tuple[str, ...]:
    reference = "" if figure.reference is None else f"{figure.beside} {_number(figure.reference)} {figure.unit}"
    ratio = "" if figure.ratio is None else f"{figure.ratio:.2f}"
    goal = ""
    if figure.ratio_at_most is not None:
        goal = f"ratio <= {figure.ratio_at_most:g}"
    elif figure.ours_at_most is not None:
        goal = f"<= {figure.ours_at_most:g} {figure.unit}"
    verdict = {None: "", True: "met", False: "NOT MET"}[figure.is_met if is_judged else None]
    return figure.what, f"{_number(figure.ours)} {figure.unit}", reference, ratio, goal, verdict


def _laid_out(row: Sequence[str], widths: Sequence[int]) -> Iterable[str]:
    for column, (cell, width) in enumerate(zip(row, widths, strict=True)):
        yield cell.rjust(width) if column in (1, 3) else cell.ljust(width)


def _number(number: float) -> str:
    return f"{number:,.0f}" if abs(number) >= 100 else f"{number:.3g}"
