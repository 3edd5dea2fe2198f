import tomllib
from pathlib import Path
from typing import Any

from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint
from pattress.lab.larkspur_mill import double, larkspur_mill, stranger
from pattress.model.vocabulary import checked_value, definition_of
from unit.lab.by_profile import shipped_profiles

WHERE = Circumstances(ground=MILL_GROUND, broker=Endpoint("127.77.0.1", 1883))
MODULES = larkspur_mill(WHERE)


def test_at_least_sixteen_modules_of_five_makers_have_points_of_their_own() -> None:
    points = {module.point for module in MODULES}

    assert len(points) == len(MODULES) >= 16
    assert None not in points
    assert len({module.maker for module in MODULES}) == 5


def test_no_two_devices_share_an_address_or_a_serial_and_only_the_double_shares_a_mac() -> None:
    others = (stranger(WHERE), double(MODULES[-1], WHERE))
    everybody = (*MODULES, *others)

    macs = [module.mac for module in everybody]

    assert len({module.number for module in everybody}) == len(everybody)
    assert len({module.serial for module in everybody}) == len(everybody)
    assert len(set(macs)) == len(everybody) - 1
    assert others[1].mac == MODULES[-1].mac
    assert others[1].truth["mac"] == MODULES[-1].mac


def test_hardware_addresses_are_of_the_range_for_documentation() -> None:
    macs = {module.mac for module in (*MODULES, stranger(WHERE))}

    assert all(mac.startswith("00:00:5e:00:53:") for mac in macs), "RFC 7042 section 2.1.2"


def test_every_truth_is_a_legal_value_of_the_vocabulary() -> None:
    for module in MODULES:
        for name, value in module.truth.items():
            definition = definition_of(name)
            assert definition is not None, name
            assert checked_value(definition, value) == value, f"{module.point}: {name}"


def test_every_shipped_kind_lives_in_the_house_and_every_class_is_covered() -> None:
    profiles = shipped_profiles()

    assert {module.kind for module in MODULES} == set(profiles)
    assert {profile["class"] for profile in profiles.values()} == {
        "isolated-contact-relay",
        "metered-relay",
        "dual-relay",
        "shutter",
        "dimmer",
        "led-controller",
    }
    assert {
        profile["data_sheet"]["needs_neutral"] for profile in profiles.values() if profile["class"] == "dimmer"
    } == {True, False}


def test_a_healthy_module_reports_or_lacks_all_that_the_policy_asks_for() -> None:
    file = Path(__file__).parents[3] / "policies" / "isolated-house.toml"
    policy = tomllib.loads(file.read_text(encoding="utf-8"))
    asked_for = {
        (pattern, rule.get("applies", {}).get("has")) for rule in policy["rule"] for pattern in rule["require"]
    }
    profiles = shipped_profiles()

    for kind, profile in profiles.items():
        lacks = profile.get("lacks", [])
        lacking = {
            pattern
            for pattern, has in asked_for
            if pattern not in profile["settings"]
            and pattern not in lacks
            and pattern.partition(".")[0] not in lacks
            and is_there(profile, has)
        }
        assert lacking == set(), kind


def is_there(profile: dict[str, Any], group: str | None) -> bool:
    return (
        group is None
        or group in profile["channels"]
        or group in {name.partition(".")[0] for name in profile["settings"]}
    )


def test_a_kind_that_says_it_lacks_a_setting_does_not_report_it() -> None:
    for kind, profile in shipped_profiles().items():
        for name in profile["settings"]:
            assert name not in profile.get("lacks", []), f"{kind}: {name}"
            assert name.partition(".")[0] not in profile.get("lacks", []), f"{kind}: {name}"
