"""Drift: what has changed since a reading was signed off.

Drift is about settings. Measurements change by themselves, and never drift.
"""

from collections.abc import Iterator, Mapping

from pattress.model.finding import Finding, Subject, shown
from pattress.model.kept import SignOff
from pattress.model.reading import Reading, Snapshot
from pattress.model.vocabulary import Value, definition_of
from pattress.policy.builtin import AS_SIGNED_OFF


def drift(signed: SignOff, reading: Reading, subject: Subject) -> Iterator[Finding]:
    """Yield one finding for each setting that is not as signed off, or a single one that says that all are."""
    signature = f"as signed off on {signed.at.astimezone():%Y-%m-%d} by {signed.who}"
    if not isinstance(reading, Snapshot):
        yield Finding(AS_SIGNED_OFF, subject, None, "unverified", signature, remark=reading.reason)
        return
    changes = list(_changes(signed, reading, subject, signature))
    if changes:
        yield from changes
    else:
        remark = f"{len(signed.values)} settings are {signature}"
        yield Finding(AS_SIGNED_OFF, subject, None, "met", signature, remark=remark)


def settings_of(snapshot: Snapshot) -> dict[str, Value]:
    """Return the settings of a reading without the measurements: what a person can agree to."""
    return {name: reported.value for name, reported in sorted(snapshot.values.items()) if is_setting(name)}


def is_setting(name: str) -> bool:
    """Whether a name is one of a setting, not of a measurement."""
    definition = definition_of(name)
    return definition is not None and definition.nature == "setting"


def _changes(signed: SignOff, snapshot: Snapshot, subject: Subject, signature: str) -> Iterator[Finding]:
    errors = {error.subject: error.reason for error in snapshot.errors}
    now = settings_of(snapshot)
    for name in sorted({*signed.values, *now}):
        then = signed.values.get(name)
        if then is None:
            yield Finding(
                AS_SIGNED_OFF, subject, name, "broken", f"not reported, {signature}", now[name], None,
                snapshot.values[name].origin,
            )  # fmt: skip
        elif name not in now:
            reason = errors.get(name, "the device does not report it any more")
            yield Finding(AS_SIGNED_OFF, subject, name, "unverified", f"{shown(then)}, {signature}", remark=reason)
        elif not _is_same(then, now[name]):
            yield Finding(
                AS_SIGNED_OFF, subject, name, "broken", f"{shown(then)}, {signature}", now[name], None,
                snapshot.values[name].origin, before=then,
            )  # fmt: skip


def _is_same(then: Value, now: Value) -> bool:
    """Whether two values are the same; 1 and 1.0 are one number, true and 1 are not."""
    return isinstance(then, bool) == isinstance(now, bool) and then == now


def also_broken(findings: Mapping[str, list[str]], setting: str) -> str | None:
    """Return in words which rules a drifted setting breaks besides, or None."""
    rules = findings.get(setting)
    return f"it also breaks {', '.join(rules)}" if rules else None
