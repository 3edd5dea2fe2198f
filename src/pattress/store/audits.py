"""The result of a whole audit, kept in one transaction. What does not belong here: any one part of it."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlite_utils import Database

from pattress.model.device import Device
from pattress.model.finding import Finding, Outcome
from pattress.model.reading import Reading
from pattress.store.devices import keep_devices
from pattress.store.encoding import moment_of
from pattress.store.findings import keep_findings
from pattress.store.placements import keep_placements
from pattress.store.readings import keep_readings
from pattress.store.runs import end_run, started_at_of


def keep_audit(
    database: Database,
    run: int,
    devices: Sequence[Device],
    readings: Sequence[Reading],
    placed: Mapping[str, str],
    findings: Sequence[Finding],
    ended_at: datetime,
    counts: Mapping[Outcome, int],
) -> None:
    """Keep what an audit found, and that it came to its end.

    Raises:
        ValueError: If there is no such run, or a time has no time zone.
    """
    keep_devices(database, run, devices)
    keep_readings(database, run, readings)
    keep_placements(database, run, placed, moment_of(started_at_of(database, run)))
    keep_findings(database, run, findings, ended_at)
    end_run(database, run, ended_at, counts)
