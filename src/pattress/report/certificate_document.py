"""The certificate of a close-in check as a JSON document, `pattress.certificate/1`.

What belongs here: that document. What does not: what it rests on (see `certificate_record`).
"""

from collections.abc import Mapping

from pattress.model.closein import CloseIn
from pattress.report.certificate_record import CertificateRecord, verdict_sentence
from pattress.report.closein import step_entry
from pattress.report.document import Document, time_text


def certificate_document(record: CertificateRecord) -> Document:
    """Return a certificate as `pattress.certificate/1`; of samples only how many there are."""
    check, agreed = record.check, record.agreed
    return {
        "schema": "pattress.certificate/1",
        "site": record.site_name,
        "point": check.point,
        "check": check.id,
        "record": record.short_id,
        "sha256": record.digest,
        "verdict": record.verdict,
        "sentence": verdict_sentence(record),
        "who": check.who,
        "began_at": time_text(check.began_at),
        "ended_at": None if check.ended_at is None else time_text(check.ended_at),
        "is_signed_off": check.is_signed_off,
        "device": check.device,
        "counts": dict(record.counts),
        "steps": [step_entry(one) for one in check.results],
        "not_done": _titled(record.not_done),
        "settings": None if agreed is None else dict(agreed.values),
        "signed_off_at": None if agreed is None else time_text(agreed.at),
        "planned": dict(record.plan),
        "is_planned_then": record.is_plan_of_then,
        "newer": None if record.newer is None else _newer(record.newer),
        "code": record.code_text,
        "code_leads_to_page": record.page_url is not None,
    }


def _titled(steps: Mapping[str, str]) -> list[Document]:
    return [{"step": step, "title": title} for step, title in steps.items()]


def _newer(check: CloseIn) -> Document:
    return {
        "check": check.id,
        "began_at": time_text(check.began_at),
        "ended_at": None if check.ended_at is None else time_text(check.ended_at),
        "is_signed_off": check.is_signed_off,
    }
