"""The sections of the page of an audit. What does not belong here: the page around them."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import count

from pattress.model.device import Conflict
from pattress.model.finding import OUTCOMES, Finding
from pattress.model.rules import SEVERITIES, Override, Rule
from pattress.model.source import SourceReport
from pattress.policy.builtin import CAUTION
from pattress.report.marks import badge, mark
from pattress.report.markup import Content, Markup, breakable, lines, tag, together
from pattress.report.places import Place, Room, by_room, gravest_first, place_key, rules_of
from pattress.report.text import counted, override_words

MAX_NAMES = 6  # of the checks that one reason left open; the others are counted, and listed when asked for
_PlaceIds = Mapping[tuple[str, str], str]


def broken_section(findings: Sequence[Finding]) -> Markup | None:
    """Return what is broken, by place, and then why and what to do, by rule."""
    if not findings:
        return None
    rooms = by_room(findings)
    numbers = count(1)
    ids = {place_key(place.subject): f"place-{next(numbers)}" for room in rooms for place in room.places}
    return _section(
        "broken",
        f"Broken: {len(findings)}",
        _caution(findings),
        *(_room(room, [_broken_place(place, ids) for place in room.places]) for room in rooms),
        tag("h3", "Why, and what to do", class_="aside"),
        *(_rule(rule, [one for one in findings if one.rule.id == rule.id], ids) for rule in rules_of(findings)),
    )


def unverified_section(findings: Sequence[Finding], *, has_caution: bool) -> Markup | None:
    """Return what could not be checked, many checks for one reason together."""
    if not findings:
        return None
    return _section(
        "unverified",
        f"Could not be checked: {len(findings)}",
        tag("p", "Nothing here is known to be right, and nothing is known to be wrong.", class_="lead"),
        _caution(findings) if has_caution else None,
        *(_room(room, [_unverified_place(place) for place in room.places]) for room in by_room(findings)),
    )


def waived_section(findings: Sequence[Finding]) -> Markup | None:
    """Return what is accepted, by whom, why and until when."""
    if not findings:
        return None
    rooms = (_room(room, [_waived_place(place) for place in room.places]) for room in by_room(findings))
    return _section("waived", f"Accepted: {len(findings)}", *rooms)


def met_section(findings: Sequence[Finding], total: int) -> Markup:
    """Return a count of what is met, and a table for each place to unfold."""
    rooms = [_room(room, [_met_place(place) for place in room.places]) for room in by_room(findings)]
    return _section(
        "met", f"Met: {len(findings)} of {counted(total, 'check')}", tag("div", lines(rooms), class_="rooms")
    )


def sources_section(sources: Sequence[SourceReport], conflicts: Iterable[Conflict]) -> Markup:
    """Return how each source of evidence fared, and which identities were claimed more than once."""
    rows = []
    for one in sources:
        missed = "; a point of the plan depends on it" if one.is_needed and one.state != "heard" else ""
        state = tag("span", one.state, class_="state")
        rows.append(tag("li", tag("strong", breakable(one.source)), state, tag("p", f"{one.detail}{missed}")))
    claims = [
        tag("li", tag("strong", one.identity), tag("p", f"is claimed by {' and '.join(one.claimants)}"))
        for one in conflicts
    ]
    return _section(
        "sources",
        "What was listened to",
        tag("ul", lines(rows), class_="sources") if rows else tag("p", "No source was listened to."),
        tag("h3", "Claimed by more than one device") if claims else None,
        tag("ul", lines(claims), class_="sources") if claims else None,
    )


def overridden_section(overridden: Sequence[Override]) -> Markup | None:
    """Return which rules of the policy a file that includes them has changed or dropped."""
    if not overridden:
        return None
    items = (tag("li", tag("p", breakable(override_words(one)))) for one in overridden)
    return _section("overridden", "Rules that were overridden", tag("ul", lines(items), class_="sources"))


def _section(section_id: str, title: str, *contents: Content) -> Markup:
    outcome = next((one for one in OUTCOMES if one == section_id), None)
    heading = tag("h2", mark(outcome) if outcome else None, title, id=f"{section_id}-title")
    return tag(
        "section", heading, lines(contents), id=section_id, class_=outcome, aria_labelledby=f"{section_id}-title"
    )


def _room(room: Room, places: Iterable[Markup]) -> Markup:
    left_out = (
        tag("p", f"and {room.left_out} more, all of them in the report as JSON", class_="more")
        if room.left_out
        else None
    )
    return tag("div", tag("h3", room.name), lines(places), left_out, class_="room")


def _caution(findings: Iterable[Finding]) -> Markup | None:
    """What must be read before a hand goes near a box: only where somebody may go there for a danger."""
    if not any(finding.rule.severity == "danger" for finding in findings):
        return None
    return tag("p", mark("danger"), tag("span", tag("strong", "Mains can kill. "), CAUTION), class_="caution")


def _title(place: Place) -> Markup:
    subject = place.subject
    about = ", ".join(part for part in (subject.kind, subject.device) if part and part != subject.title)
    return together(
        tag("h4", tag("bdi", breakable(subject.title))), tag("p", tag("bdi", about), class_="about") if about else None
    )


def _broken_place(place: Place, ids: _PlaceIds) -> Markup:
    items = [
        tag(
            "li",
            badge(finding.rule.severity),
            tag("p", breakable(finding.sentence)),
            tag("a", "why, and what to do", tag("span", f" about {finding.rule.title}", class_="unseen"),
                href=f"#rule-{finding.rule.id}", class_="step"),
        )
        for finding in sorted(place.findings, key=gravest_first)
    ]  # fmt: skip
    return tag("article", _title(place), tag("ul", lines(items)), class_="place", id=ids[place_key(place.subject)])


def _rule(rule: Rule, findings: Sequence[Finding], ids: _PlaceIds) -> Markup:
    subjects = {place_key(finding.subject): finding.subject for finding in findings}
    shown = [(ids[key], subject.title) for key, subject in subjects.items() if key in ids]
    links = [
        tag("li", tag("a", tag("bdi", breakable(title)), href=f"#{place}", class_="step")) for place, title in shown
    ]
    return tag(
        "article",
        tag("h4", badge(rule.severity), tag("span", rule.title)),
        tag("p", tag("code", rule.id), class_="about"),
        tag("p", tag("strong", "Why. "), rule.because),
        tag("p", tag("strong", "To do. "), rule.fix),
        tag("p", f"Source: {'; '.join(rule.cites)}", class_="cites") if rule.cites else None,
        tag("ul", lines(links), class_="where"),
        class_="rule",
        id=f"rule-{rule.id}",
    )


def _unverified_place(place: Place) -> Markup:
    reasons: dict[str, list[Finding]] = {}
    for finding in place.findings:
        reasons.setdefault(finding.reason or "no reason given", []).append(finding)
    items = [_reason(reason, findings) for reason, findings in reasons.items()]
    return tag("article", _title(place), tag("ul", lines(items)), class_="place")


def _reason(reason: str, findings: Sequence[Finding]) -> Markup:
    gravest = min((finding.rule.severity for finding in findings), key=SEVERITIES.index)
    names = list(dict.fromkeys(finding.setting or finding.rule.title for finding in findings))
    number = counted(len(findings), "check")
    if len(names) <= MAX_NAMES:
        listed = tag("p", *_listed(names), class_="names")
    else:
        listed = tag("details", tag("summary", f"Which {number}"), tag("p", *_listed(names), class_="names"))
    first = tag("p", breakable(f"{reason}: {number}"))
    return tag("li", badge(gravest), first, listed)


def _waived_place(place: Place) -> Markup:
    items = []
    for finding in sorted(place.findings, key=gravest_first):
        waiver = finding.waiver
        words = f"Accepted by {waiver.who}" if waiver is not None else None
        safe = f". Safe because: {waiver.safe_because}" if waiver is not None and waiver.safe_because else ""
        items.append(
            tag(
                "li",
                badge(finding.rule.severity),
                tag("p", breakable(finding.sentence)),
                tag("p", f"{words}{safe}", class_="about") if words else None,
            )
        )
    return tag("article", _title(place), tag("ul", lines(items)), class_="place")


def _met_place(place: Place) -> Markup:
    title = place.subject.title
    head = tag("tr", tag("th", "Check", scope="col"), tag("th", "Found", scope="col"))
    rows = [
        tag(
            "tr",
            tag("th", breakable(finding.setting or finding.rule.title), scope="row"),
            tag("td", breakable(finding.found or "not reported"),
                tag("span", f"must be {finding.expected}", class_="expected") if finding.setting else None),
        )
        for finding in place.findings
    ]  # fmt: skip
    number = counted(len(rows), "check")
    table = tag(
        "table",
        tag("caption", f"Met at {title}", class_="unseen"),
        tag("thead", head),
        tag("tbody", lines(rows)),
    )
    summary = tag("summary", tag("bdi", breakable(title)), tag("span", number, class_="number"))
    return tag("details", summary, table, class_="met-place")


def _listed(names: Iterable[str]) -> list[Content]:
    contents: list[Content] = []
    for name in names:
        contents += [", " if contents else None, tag("span", breakable(name))]
    return contents
