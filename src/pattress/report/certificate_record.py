"""What a certificate rests on: one close-in check as it was kept, and how it stands. Pure: the same record, the same.

What belongs here: the record, its verdict, and its short id. What does not: how it looks on a page or on a label.
"""

import base64
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal
from urllib.parse import quote

from pattress.model.closein import STEP_KINDS, CloseIn, StepOutcome, StepResult, step_order
from pattress.model.kept import SignOff
from pattress.model.vocabulary import Value
from pattress.report.document import time_text
from pattress.report.planned import planned_steps
from pattress.report.text import counted

Verdict = Literal["in-order", "with-gaps", "not-in-order", "unfinished", "given-up"]
VERDICT_WORDS: Mapping[Verdict, str] = {
    "in-order": "In order",
    "with-gaps": "Signed off with gaps",
    "not-in-order": "NOT IN ORDER",
    "unfinished": "UNFINISHED: not signed off",
    "given-up": "GIVEN UP: not signed off",
}
STEP_WORDS: Mapping[StepOutcome, str] = {
    "met": "Met",
    "broken": "Broken",
    "unverified": "Could not be checked",
    "skipped": "Left out",
}
# Of base 32, 30 bits. The number before it tells the checks of one house apart; this, that a label is of this record.
ID_LENGTH = 6
MAX_SITE_IN_CODE = 60  # characters: with those of a point's name, a code of level M still holds them in any script
_SINGLE_KINDS = tuple(kind for kind in STEP_KINDS if kind not in ("input", "drive", "output"))


@dataclass(frozen=True, kw_only=True)
class CertificateRecord:
    """One check of a point, and what belongs to it.

    `agreed` are the settings that were signed off with it, None where there are none. `planned` is what the site's
    files say; what was kept with the check comes before it. `newer` is the newest check of the point, where that is
    another. `page_url` is where the site's pages are, if they are anywhere.
    """

    site: str
    check: CloseIn
    agreed: SignOff | None = None
    planned: Mapping[str, Value] = field(default_factory=dict)
    newer: CloseIn | None = None
    page_url: str | None = None

    @property
    def is_plan_of_then(self) -> bool:
        """Whether the plan that is shown is the one that was kept with the check, not the one of today."""
        return bool(self.check.planned)

    @property
    def plan(self) -> Mapping[str, Value]:
        """What was planned for the point."""
        return self.check.planned or self.planned

    @property
    def site_name(self) -> str:
        """The name of the site, as it was then."""
        return str(self.plan.get("site", self.site))

    @cached_property
    def not_done(self) -> dict[str, str]:
        """The steps that have no result at all, each with its title."""
        expected = planned_steps(self.plan) or {kind: kind for kind in _SINGLE_KINDS}
        done = {one.step for one in self.check.results}
        return {name: expected[name] for name in sorted(expected, key=step_order) if name not in done}

    @cached_property
    def counts(self) -> dict[StepOutcome, int]:
        """How many steps ended in each way."""
        return {outcome: sum(one.outcome == outcome for one in self.check.results) for outcome in STEP_WORDS}

    @property
    def verdict(self) -> Verdict:
        """How the check stands. Only what was signed off, whole and with nothing broken or open, is in order."""
        check, counts = self.check, self.counts
        if check.ended_at is None:
            return "unfinished"
        if not check.is_signed_off:
            return "given-up"
        if counts["broken"] or check.device is None:
            return "not-in-order"
        if counts["unverified"] or counts["skipped"] or self.not_done or self.agreed is None:
            return "with-gaps"
        return "in-order"

    @property
    def is_signed(self) -> bool:
        """Whether the page may call itself a certificate."""
        return self.verdict in ("in-order", "with-gaps")

    @cached_property
    def digest(self) -> str:
        """The SHA-256 of all that was kept of the check but its samples, in hexadecimal."""
        return hashlib.sha256(json.dumps(_canonical(self), sort_keys=True, allow_nan=False).encode()).hexdigest()

    @property
    def short_id(self) -> str:
        """The check's number and the beginning of its digest: what a label has room for."""
        letters = base64.b32encode(bytes.fromhex(self.digest)).decode("ascii")[:ID_LENGTH]
        return f"{self.check.id}-{letters}"

    @property
    def code_text(self) -> str:
        """What the code on the label holds: the address of the point's page, or the point's name where it has none."""
        name = quote(self.check.point, safe="", errors="replace")
        if self.page_url is None:
            site = quote(self.site_name[:MAX_SITE_IN_CODE], safe="", errors="replace")
            return f"pattress:{site}/{name}"
        return f"{self.page_url}/points/{name}"

    def value_of(self, name: str) -> str | None:
        """Return what is known of the module under a name: as signed off, else as the check saw it, else as planned."""
        if self.agreed is not None and name in self.agreed.values:
            return str(self.agreed.values[name])
        for result in self.check.results:
            if result.kind in ("recognised", "found") and name in result.facts:
                return str(result.facts[name])
        planned = self.plan.get(name)
        return f"{planned} (as planned)" if planned is not None else None


def verdict_sentence(record: CertificateRecord) -> str:
    """Return in a sentence how the check stands, with everything that is not met."""
    counts, total = record.counts, len(record.check.results) + len(record.not_done)
    if record.verdict == "in-order":
        return f"All {total} steps are met."
    parts = [f"{counts['met']} of {counted(total, 'step')} met"]
    if counts["broken"]:
        parts.append(f"{counts['broken']} broken")
    if counts["unverified"]:
        parts.append(f"{counts['unverified']} could not be checked")
    if counts["skipped"]:
        parts.append(f"{counts['skipped']} left out")
    if record.not_done:
        parts.append(f"{len(record.not_done)} not done")
    more = " No module is known to be there." if record.check.device is None else ""
    unsigned = " The settings were not kept." if record.check.is_signed_off and record.agreed is None else ""
    return f"{', '.join(parts)}.{more}{unsigned}"


def _canonical(record: CertificateRecord) -> dict[str, Any]:
    """The device's id is left out: it changes as the device becomes better known; its hardware address is in a step."""
    check, agreed = record.check, record.agreed
    return {
        "point": check.point,
        "who": check.who,
        "began_at": time_text(check.began_at),
        "ended_at": None if check.ended_at is None else time_text(check.ended_at),
        "is_signed_off": check.is_signed_off,
        "planned": dict(check.planned),
        "results": [_result(one) for one in check.results],
        "agreed": None
        if agreed is None
        else {"at": time_text(agreed.at), "who": agreed.who, "why": agreed.why, "values": dict(agreed.values)},
    }


def _result(result: StepResult) -> dict[str, Any]:
    return {
        "step": result.step,
        "number": result.number,
        "title": result.title,
        "outcome": result.outcome,
        "sentence": result.sentence,
        "began_at": time_text(result.began_at),
        "ended_at": time_text(result.ended_at),
        "facts": dict(result.facts),
    }
