"""A right policy file, piece by piece."""

from hashlib import sha256
from pathlib import Path

import pytest

from pattress.model.errors import SiteFileError
from pattress.model.rules import Applies, Beyond, Override, Policy, Requirement, Rule
from pattress.site.files import parse_toml
from pattress.site.load import load_policy
from pattress.site.policy_file import policy_of
from pattress.site.policy_parts import PolicyPart, read_policy_parts
from pattress.site.rule_tables import Surroundings


def digest_of(file: Path) -> str:
    return sha256(file.read_bytes()).hexdigest()


def required(setting: str, comparison: str, operand: object, **more: object) -> Requirement:
    return Requirement(setting=setting, comparison=comparison, operand=operand, **more)  # type: ignore[arg-type]


PASSWORD_SET = Rule(
    file="base.toml",
    id="password-set",
    title="A password is set",
    severity="fault",
    because="Nobody else may change a setting.",
    fix="Set one.",
    requirements=(required("access.password_set", "equal", True),),
)


def read(folder: Path) -> tuple[list[str], Policy | None]:
    parts = read_policy_parts(folder / "policy.toml", folder)
    policy = policy_of(parts, Surroundings())
    return [str(fault) for part in parts for fault in part.file.faults], policy


def test_right_files_become_the_policy_they_say(house: Path) -> None:
    faults, policy = read(house)

    assert faults == []
    assert policy == Policy(
        id="mill-rules",
        title="What the mill asks for",
        digest=sha256("\n".join(digest_of(house / name) for name in ("base.toml", "policy.toml")).encode()).hexdigest(),
        files=("base.toml", "policy.toml"),
        overridden=(
            Override(rule="signal", file="policy.toml", fields=("severity", "applies", "require", "because", "fix")),
            Override(rule="password-set", file="policy.toml", reason="The modules have none.", dropped=PASSWORD_SET),
        ),
        beyond=(Beyond(provision="Example Standard provision 7.1", why="It asks for a paper."),),
        rules=(
            Rule(
                file="base.toml",
                id="cloud-off",
                title="The remote service is off",
                severity="danger",
                because="Nobody outside may switch.",
                fix="Turn it off.",
                requirements=(required("cloud.enabled", "equal", False),),
            ),
            Rule(
                file="base.toml",
                id="signal",
                title="The signal is strong",
                severity="danger",
                because="The walls are thick.",
                fix="Live with it.",
                applies=Applies(has=("net",)),
                requirements=(required("net.rssi_dbm", "at_least", -75),),
            ),
            Rule(
                file="policy.toml",
                id="over-temperature",
                title="Over-temperature protection is on",
                severity="danger",
                because="A closed box has no other way to shed an overload.",
                fix="Turn it on.",
                cites=("common practice",),
                applies=Applies(has=("output",), classes=("dual-relay", "metered-relay")),
                requirements=(
                    required("output.*.over_temperature.enabled", "equal", True),
                    required("output.*.over_temperature.limit_c", "at_most", 95),
                ),
            ),
            Rule(
                file="policy.toml",
                id="settings",
                title="Settings are as they should be",
                severity="fault",
                because="So that the house works.",
                fix="Set them.",
                applies=Applies(kinds=("quill-duo",), makers=("Quill",), rooms=("Hall", "Attic")),
                requirements=(
                    required("mqtt.host", "in_network", "inside"),
                    required("time.server", "in_network", "198.51.100.0/25"),
                    required("mqtt.port", "one_of", (1883, 8883)),
                    required("net.rssi_dbm", "between", (-70, -20.5)),
                    required("net.ssid", "matches", "mill-[a-z]+"),
                    required("firmware.version", "version_at_least", True, is_planned=True, unplanned="skip"),
                    required("input.*.action", "equal", True, is_planned=True),
                    required("input.1.contact", "equal", "maintained"),
                    required("time.zone", "present", True),
                    required("cloud.host", "absent", True),
                ),
            ),
            Rule(
                file="policy.toml",
                id="young-firmware",
                title="The firmware is not too old",
                severity="advice",
                because="Older ones forget their settings.",
                fix="Update it.",
                requirements=(
                    required("firmware.version", "version_at_least", "2.0.1"),
                    required("health.free_memory_bytes", "at_least", 4096),
                ),
            ),
        ),
    )


@pytest.mark.parametrize("name", ["policy.toml", "base.toml"])
def test_the_digest_changes_with_every_byte_of_any_of_its_files(house: Path, name: str) -> None:
    _, first = read(house)
    with (house / name).open("a", encoding="utf-8") as stream:
        stream.write("# a word\n")

    _, second = read(house)

    assert first is not None
    assert second is not None
    assert first.rules == second.rules
    assert first.digest != second.digest


def test_the_digest_of_a_policy_that_includes_nothing_is_that_of_its_file(house: Path) -> None:
    [part] = read_policy_parts(house / "base.toml", house)

    policy = policy_of([part], Surroundings())

    assert policy is not None
    assert policy.digest == digest_of(house / "base.toml")


def test_a_policy_may_hold_nothing_but_what_it_includes(house: Path) -> None:
    (house / "policy.toml").write_text('id = "all"\ntitle = "All"\ninclude = ["base.toml"]\n', encoding="utf-8")

    faults, policy = read(house)

    assert faults == []
    assert policy is not None
    assert [rule.id for rule in policy.rules] == ["cloud-off", "password-set", "signal"]


@pytest.mark.parametrize(("text", "found"), [("", "nothing"), ("rule = []\n", "an empty list")])
def test_a_policy_without_any_rule_is_a_fault(house: Path, text: str, found: str) -> None:
    (house / "policy.toml").write_text(f'id = "all"\ntitle = "All"\n{text}', encoding="utf-8")

    faults, policy = read(house)

    assert policy is None
    assert len(faults) == 1
    assert faults[0].endswith(f"rule: found {found}, expected [[rule]] tables, or policies to include.")


def test_all_faults_of_a_policy_and_of_what_it_includes_come_in_one_go(house: Path) -> None:
    for name, old, new in [
        ("base.toml", 'severity = "danger"', 'severity = "grave"'),
        ("base.toml", "at_least = -70", "at_lest = -70"),
        ("policy.toml", 'severity = "advice"', 'severity = "advise"'),
        ("policy.toml", "between = [-70, -20.5]", "between = [-70]"),
        ("policy.toml", "{ present = true }", '{ data_sheet = "at_most" }'),
        ("policy.toml", 'rule = "signal"', 'rule = "signals"'),
        ("policy.toml", "drop = true", "drop = false"),
        ("policy.toml", 'why = "It asks for a paper."', "why = 1"),
    ]:
        text = (house / name).read_text(encoding="utf-8")
        assert text.count(old) == 1, old
        (house / name).write_text(text.replace(old, new), encoding="utf-8")

    with pytest.raises(SiteFileError) as raised:
        load_policy("policy.toml", house)

    assert [(fault.file, fault.line) for fault in raised.value.faults] == [
        ("policy.toml", 31),
        ("policy.toml", 36),
        ("policy.toml", 36),
        ("policy.toml", 42),
        ("policy.toml", 49),
        ("policy.toml", 58),
        ("policy.toml", 63),
        ("base.toml", 7),
        ("base.toml", 27),
    ]


def test_kinds_and_makers_are_not_called_unknown_where_none_are_known() -> None:
    text = (
        'id = "p"\ntitle = "t"\n[[rule]]\nid = "r"\ntitle = "t"\nseverity = "fault"\nbecause = "b"\nfix = "f"\n'
        'applies = { kind = "any", maker = "any" }\nrequire."mqtt.tls" = true\n'
    )
    file = parse_toml(text.encode(), "p.toml")

    policy_of([PolicyPart(path=Path("p.toml"), file=file)], Surroundings())

    assert file.faults == []
