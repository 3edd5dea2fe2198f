"""The policy `consumer-baseline` against the provisions of the two baselines that it speaks of.

Sources: the ids and the status (M mandatory, R recommended, F only where there is such a feature) of ETSI EN 303 645
V3.1.3 (2024-09) are from a transcription of its Table B.1; the outcomes of NIST IR 8425 (2022-09) are the headings of
its sections 2.2.1 and 2.2.2. Both were read in secondary public copies.
"""

from collections import Counter
from pathlib import Path

from pattress.site.load import load_policy

MANDATORY_WITH_FEATURE = "5.1-1 5.1-2 5.1-3 5.1-4"
MANDATORY = (
    "5.0-1 5.1-5 5.2-1 5.3-2 5.3-3 5.3-7 5.3-8 5.3-10 5.3-13 5.3-16 5.4-1 5.4-2 5.4-3 5.4-4 5.5-1 5.5-5 5.5-7 5.5-8 "
    "5.6-1 5.6-2 5.6-4A 5.8-2 5.8-3 5.11-1 5.13-1A 5.13-1B 6-1 6-2 6-3A 6-3B 6-5 6-6"
)
RECOMMENDED = (
    "5.1-2A 5.2-2 5.2-3 5.3-1 5.3-4A 5.3-4B 5.3-5 5.3-6A 5.3-6B 5.3-9 5.3-11 5.3-12 5.3-14 5.3-15A 5.3-15B "
    "5.5-2 5.5-3 5.5-4 5.5-6 5.6-3 5.6-4B 5.6-5 5.6-6 5.6-7 5.6-8 5.6-9 5.7-1 5.7-2 5.8-1 5.9-1 5.9-2 5.9-3 5.10-1 "
    "5.11-2 5.11-3 5.11-4 5.12-1 5.12-2 5.12-3 6-4 6-7 6-8"
)
ETSI = frozenset(
    f"ETSI EN 303 645 V3.1.3 provision {identity} ({status})"
    for status, listed in (("M F", MANDATORY_WITH_FEATURE), ("M", MANDATORY), ("R", RECOMMENDED))
    for identity in listed.split()
)
NIST = frozenset(
    f"NIST IR 8425 outcome {name}"
    for name in (
        "Asset Identification",
        "Product Configuration",
        "Data Protection",
        "Interface Access Control",
        "Software Update",
        "Cybersecurity State Awareness",
        "Documentation",
        "Information and Query Reception",
        "Information Dissemination",
        "Product Education and Awareness",
    )
)
POLICY = load_policy("consumer-baseline", Path())
CITED = frozenset(cite for rule in POLICY.rules for cite in rule.cites)
BEYOND = [one.provision for one in POLICY.beyond]


def test_the_table_has_as_many_provisions_as_the_standard() -> None:
    assert len(ETSI) == 78, "V3.1.3, Table B.1"
    assert len(NIST) == 10, "NIST IR 8425, six outcomes of products and four of their makers"


def test_every_provision_is_either_cited_by_a_rule_or_said_to_be_beyond_any_setting() -> None:
    assert CITED | set(BEYOND) == ETSI | NIST


def test_no_provision_is_in_both_and_none_twice_beyond() -> None:
    assert CITED & set(BEYOND) == frozenset()
    assert [provision for provision, count in Counter(BEYOND).items() if count > 1] == []


def test_every_rule_cites_a_provision_and_every_provision_beyond_has_a_reason() -> None:
    assert [rule.id for rule in POLICY.rules if not rule.cites] == []
    assert [one.provision for one in POLICY.beyond if len(one.why.split()) < 5] == []


def test_how_much_of_each_baseline_settings_can_show_is_no_more_than_the_documents_say() -> None:
    assert (len(CITED & ETSI), len(CITED & NIST)) == (16, 5)
