"""A right policy file, piece by piece."""

from hashlib import sha256
from pathlib import Path

from pattress.model.rules import Applies, Policy, Requirement, Rule
from pattress.site.files import parse_toml, read_toml
from pattress.site.policy_file import Surroundings, policy_of


def required(setting: str, comparison: str, operand: object, **more: object) -> Requirement:
    return Requirement(setting=setting, comparison=comparison, operand=operand, **more)  # type: ignore[arg-type]


def test_a_right_file_becomes_the_policy_it_says(house: Path) -> None:
    file = read_toml(house / "policy.toml", "policy.toml")

    policy = policy_of(file, Surroundings())

    assert file.faults == []
    assert policy == Policy(
        id="mill-rules",
        title="What the mill asks for",
        digest=sha256((house / "policy.toml").read_bytes()).hexdigest(),
        rules=(
            Rule(
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


def test_the_digest_changes_with_every_byte_of_the_file(house: Path) -> None:
    data = (house / "policy.toml").read_bytes()

    first, second = (policy_of(parse_toml(text, "p"), Surroundings()) for text in (data, data + b"# a word\n"))

    assert first is not None
    assert second is not None
    assert first.rules == second.rules
    assert first.digest != second.digest


def test_kinds_and_makers_are_not_called_unknown_where_none_are_known() -> None:
    text = (
        'id = "p"\ntitle = "t"\n[[rule]]\nid = "r"\ntitle = "t"\nseverity = "fault"\nbecause = "b"\nfix = "f"\n'
        'applies = { kind = "any", maker = "any" }\nrequire."mqtt.tls" = true\n'
    )
    file = parse_toml(text.encode(), "p.toml")

    policy_of(file, Surroundings())

    assert file.faults == []
