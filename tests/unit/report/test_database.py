"""What looking through the database found, as text."""

from pattress.model.kept import Examination
from pattress.report.database import examination_text


def test_counts_stand_in_one_column_however_long_the_names_are() -> None:
    found = Examination(
        problems=(), schema=4, newest_schema=4, sqlite_version="3.46.1", size_bytes=2_000_000, log_bytes=0,
        free_bytes=0, rows={"run": 1, "close_in_samples": 12_345, "encounter": 2},
    )  # fmt: skip

    rows = examination_text(found, "house.db").splitlines()[3:6]

    assert {row.rindex(" ") for row in rows} == {rows[0].rindex(" ")}
    assert [row.split() for row in rows] == [
        ["run", "1", "row"],
        ["close_in_samples", "12,345", "rows"],
        ["encounter", "2", "rows"],
    ]
