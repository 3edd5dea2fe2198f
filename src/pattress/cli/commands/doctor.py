"""`pattress doctor`."""

from pathlib import Path

from pattress.cli.options import AsJson, SiteFolder, load, now, run
from pattress.cli.output import give, give_json, leave, status_of, style


def doctor(site: SiteFolder = Path(), json: AsJson = False) -> None:
    """Tell what in this host's set-up would make an audit blind, each with the remedy.

    Announces a canary of its own on mDNS and on the broker for a moment; asks no device anything.

    Example: pattress doctor --site ~/house
    """
    from pattress.audit.doctor import examine
    from pattress.report.doctor import doctor_document, doctor_text

    diagnoses = run(examine(load(site), now))
    if json:
        give_json(doctor_document(diagnoses))
    else:
        give(doctor_text(diagnoses, style()))
    leave(status_of(one.outcome for one in diagnoses))
