"""The steps that are about the module itself: found, recognised, set as planned, fit for its circuit.

What belongs here: these steps. What does not: anything that the person does with their hands.
"""

from collections.abc import Sequence
from datetime import datetime

from pattress.closein.cautions import LIVE, POWER_ON
from pattress.closein.finding import Finder
from pattress.closein.stage import Ended, Stage
from pattress.closein.talk import Question
from pattress.model.device import Device
from pattress.model.finding import Finding
from pattress.model.reading import Reading, Snapshot
from pattress.model.vocabulary import Value
from pattress.policy.account import subject_of
from pattress.policy.compiled import CompiledPolicy
from pattress.policy.evaluate import evaluate
from pattress.policy.waive import waive

MAX_TOLD = 4  # findings in a sentence; all of them are facts of the step


async def find(stage: Stage, finder: Finder, known: str | None = None) -> Ended:
    """The module is on the network, by sightings; else the person powers it, and what appears is it.

    `known` is the id of the device with which the check was begun, None where it is begun now.
    """
    point = stage.point
    stage.talk.say("Listening for it ...")
    before = {each for one in finder.devices() for each in one.ids}
    await finder.listen()
    device = finder.of_point(point, known)
    if device is not None and device.is_seen:
        return await _answers(stage, device, "it was on the network already")
    if device is not None and device.addresses:
        reading = await stage.read_device(device, point)
        if isinstance(reading, Snapshot) and reading.is_live:
            device = finder.of_point(point, known) or device
            return await _answers(stage, device, "it announces nothing, and answers where it was last")
    fresh = [one for one in _strangers(finder, before) if one.kind == point.kind]
    if not point.is_bound and known is None and len(fresh) == 1:
        how = "it is the one new module of the planned kind; put {mac} into points.toml"
        return await _answers(stage, fresh[0], how)
    before |= {each for one in finder.devices() if one.is_seen for each in one.ids}
    await stage.confirm(POWER_ON)
    what = f"Power the module at {point.name} now. It has {stage.pace.appear_s:.0f} s to appear."

    def has_appeared() -> bool:
        own = finder.of_point(point, known)
        return (own is not None and own.is_seen) or bool(_strangers(finder, before))

    await finder.until(stage, Question(text=what, replies=("skip", "stop")), has_appeared)
    device = finder.of_point(point, known)
    if device is not None and device.is_seen:
        stage.device = device
        return _found(device, "it appeared when it was powered")
    strangers = _strangers(finder, before)
    if not strangers:
        return Ended(outcome="broken", sentence=_nothing_new(stage, finder))
    if point.is_bound or known is not None:
        names = ", ".join(_title(one) for one in strangers)
        expected = "that is planned here" if point.is_bound else "with which this check was begun"
        return Ended(outcome="broken", sentence=f"another module appeared, {names}, and not the one {expected}")
    if len(strangers) > 1:
        names = ", ".join(_title(one) for one in strangers)
        return Ended(outcome="unverified", sentence=f"more than one module appeared: {names}. Power one at a time")
    [stage.device] = strangers
    return _found(stage.device, "it appeared when it was powered; put {mac} into points.toml")


async def _answers(stage: Stage, device: Device, how: str) -> Ended:
    """It is there already: so its circuit is live, and the box open."""
    stage.device = device
    await stage.confirm(LIVE)
    return _found(device, how)


def _nothing_new(stage: Stage, finder: Finder) -> str:
    sentence = f"nothing new appeared within {stage.pace.appear_s:.0f} s"
    there = [one for one in _strangers(finder, set()) if one.kind == stage.point.kind]
    if stage.point.is_bound or not there:
        return sentence
    names = ", ".join(f"{one.title} ({one.mac or one.id})" for one in there[:MAX_TOLD])
    return f"{sentence}. On the network, and at no point of the plan: {names}. If it is that, put it into points.toml"


def _found(device: Device, how: str) -> Ended:
    at = ", ".join(address for address, _ in device.addresses[:3]) or "no address known"
    sources = sorted({one.source for one in device.sightings})
    facts: dict[str, Value] = {"device": device.id, "address": at, "seen_by": ", ".join(sources)}
    how = how.replace("{mac}", device.mac or device.id)
    return Ended(outcome="met", sentence=f"{_title(device)} at {at}; {how}", facts=facts)


def _title(device: Device) -> str:
    return f"{device.title} ({device.kind or 'of no kind that a profile knows'})"


def _strangers(finder: Finder, before: set[str]) -> list[Device]:
    """Return what is new, can be a module, and stands at no point."""
    return [
        one
        for one in finder.devices()
        if one.is_seen and before.isdisjoint(one.ids) and one.kind is not None and finder.point_of(one) is None
    ]


async def recognise(stage: Stage) -> Ended:
    """The module answers, is of the planned kind, and has the planned firmware."""
    reading = await stage.read(("firmware", "model", "maker"))
    planned, device = stage.point.kind, stage.device
    if not isinstance(reading, Snapshot):
        return Ended(outcome="broken", sentence=f"it does not answer: {reading.reason}")
    values = {name: reported.value for name, reported in reading.values.items()}
    told = ("maker", "model", "firmware.version", "mac", "serial")
    facts: dict[str, Value] = {name: values[name] for name in told if name in values}
    if device is not None and device.kind is not None and device.kind != planned:
        return Ended(outcome="broken", sentence=f"it is {device.kind}, and the plan says {planned}", facts=facts)
    for key, bound in (("mac", stage.point.mac), ("serial", stage.point.serial)):
        if bound is not None and key in values and values[key] != bound:
            return Ended(
                outcome="broken", sentence=f"its {key} is {values[key]}, and the plan says {bound}", facts=facts
            )
    version = facts.get("firmware.version")
    if version is None:
        return Ended(outcome="unverified", sentence=f"it is {planned}, and does not tell its firmware", facts=facts)
    return Ended(outcome="met", sentence=f"it is {planned}, firmware {version}", facts=facts)


async def settings(stage: Stage, now: datetime) -> Ended:
    """Every setting is as policy and plan say."""
    return judged(stage, await stage.read(), now)


def judged(stage: Stage, reading: Reading, now: datetime) -> Ended:
    """Judge the settings of a reading by policy and plan."""
    policy = CompiledPolicy(stage.site.policy, stage.site.networks)
    checks = policy.checks(stage.profile, stage.point)
    subject = subject_of(stage.point, stage.device)
    judged = evaluate(checks, subject, reading)
    own = [one for one in stage.site.waivers if stage.point.name == one.point]
    findings = [
        one
        for one in waive(judged, own, today=now.astimezone().date(), plan=stage.site.plan)
        if one.rule.id in {check.rule.id for check in checks}
    ]
    if not findings:
        return Ended(outcome="unverified", sentence="neither policy nor plan says how it should be set")
    return _of_findings(findings)


def fit(stage: Stage, findings: Sequence[Finding]) -> Ended:
    """The planned module suits its circuit. `findings` are those of fitness."""
    if not findings:
        return Ended(outcome="unverified", sentence="the plan says nothing of the circuit: see [point.circuit]")
    return _of_findings(findings)


def _of_findings(findings: Sequence[Finding]) -> Ended:
    by_outcome = {
        outcome: [one for one in findings if one.outcome == outcome]
        for outcome in ("broken", "unverified", "waived", "met")
    }
    facts: dict[str, Value] = {outcome: len(ones) for outcome, ones in by_outcome.items()}
    broken, unverified = by_outcome["broken"], by_outcome["unverified"]
    for number, one in enumerate([*broken, *unverified], 1):
        facts[f"finding.{number}"] = one.sentence
    count = f"{len(by_outcome['met'])} of {len(findings)} checks are met"
    if broken:
        return Ended(outcome="broken", sentence=f"{_told(broken)} ({count})", facts=facts)
    if unverified:
        return Ended(outcome="unverified", sentence=f"{_told(unverified)} ({count})", facts=facts)
    accepted = f", {len(by_outcome['waived'])} accepted" if by_outcome["waived"] else ""
    return Ended(outcome="met", sentence=f"{count}{accepted}", facts=facts)


def _told(findings: Sequence[Finding]) -> str:
    told = " ".join(one.sentence for one in findings[:MAX_TOLD])
    return told if len(findings) <= MAX_TOLD else f"{told} And {len(findings) - MAX_TOLD} more."
