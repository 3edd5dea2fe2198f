import stat
import tomllib
from datetime import date, timedelta
from pathlib import Path

from pattress.lab.faults import FAULTS
from pattress.lab.house import MAINS_V, Circumstances, Endpoint
from pattress.lab.larkspur_mill import larkspur_mill
from pattress.lab.run import EmulatedHouse, ExternalBroker
from pattress.lab.site import write_site
from pattress.model.site import Secret
from pattress.policy.builtin import BUILTIN_RULES
from pattress.site.load import load_site

TODAY = date(2031, 5, 6)


def table(file: Path) -> dict:
    return tomllib.loads(file.read_text(encoding="utf-8"))


def flat(tree: dict, prefix: str = "") -> dict[str, object]:
    return {
        name: leaf
        for key, value in tree.items()
        for name, leaf in (
            flat(value, f"{prefix}{key}.").items() if isinstance(value, dict) else [(prefix + key, value)]
        )
    }


async def test_the_plan_says_of_each_module_what_is_true_of_it_when_healthy(
    house: EmulatedHouse, tmp_path: Path
) -> None:
    write_site(house, tmp_path, today=TODAY)

    points = {point["name"]: point for point in table(tmp_path / "points.toml")["point"]}
    assert set(points) == set(house.modules)
    for name, module in house.modules.items():
        plan = flat(points[name]["plan"])
        assert points[name]["kind"] == module.kind
        assert points[name]["mac"] == module.mac
        assert plan.pop("firmware.version") == module.planned_firmware
        meters = [setting for setting in module.truth if setting.endswith(".voltage_v")]
        assert [plan.pop(setting) for setting in meters] == [MAINS_V] * len(meters)
        assert plan == {setting: module.truth[setting] for setting in plan}
        assert {setting for setting in module.truth if setting.endswith((".action", ".at_power_up"))} <= set(plan)
        assert not any(setting.endswith((".on", ".closed", ".level_pct")) for setting in plan)


async def test_the_files_load_as_the_site_of_the_house(house: EmulatedHouse, tmp_path: Path) -> None:
    write_site(house, tmp_path, today=TODAY)

    site = load_site(tmp_path, today=TODAY, builtin_rules={rule.id: rule.severity for rule in BUILTIN_RULES})

    assert [point.name for point in site.plan.points] == list(house.modules)
    assert {point.name: dict(point.settings) for point in site.plan.points} == {
        point: dict(module.plan) for point, module in house.modules.items()
    }
    assert {point.kind for point in site.plan.points} <= {profile.id for profile in site.profiles}
    assert [(broker.host, broker.port) for broker in site.brokers] == [tuple(house.broker)]
    assert {credential.kind: credential.secret.reveal() for credential in site.credentials} == {
        module.kind: house.secrets[module.maker] for module in house.modules.values() if module.maker in house.secrets
    }
    assert all(str(network) in ("127.77.0.0/24", "127.0.0.1/32") for network in site.networks.inside)
    assert site.waivers == (), "a healthy house needs none"


async def test_a_broker_with_a_user_gets_a_password_file(tmp_path: Path) -> None:
    house = EmulatedHouse(broker=ExternalBroker(endpoint=Endpoint("127.0.0.1", 1883), user="u", secret="a long word"))
    house.broker = Endpoint("127.0.0.1", 1883)
    where = Circumstances(ground=house.ground, broker=house.broker)
    house.modules = {module.title: module for module in larkspur_mill(where)}

    write_site(house, tmp_path, today=TODAY)

    site = load_site(tmp_path, today=TODAY)
    assert [(broker.user, broker.password) for broker in site.brokers] == [("u", Secret("a long word"))]


async def test_secrets_stand_in_files_of_their_owner_and_nowhere_else(house: EmulatedHouse, tmp_path: Path) -> None:
    write_site(house, tmp_path, today=TODAY)

    written = {file.name: file.read_text().strip() for file in (tmp_path / "secrets").iterdir()}
    others = "".join(file.read_text() for file in [tmp_path / "site.toml", tmp_path / "points.toml"])
    assert written == dict(house.secrets)
    assert all(stat.S_IMODE(file.stat().st_mode) == 0o600 for file in (tmp_path / "secrets").iterdir())
    assert not any(secret in others for secret in written.values())


async def test_the_one_waiver_is_for_the_fault_that_the_site_accepts(house: EmulatedHouse, tmp_path: Path) -> None:
    fault = FAULTS["weak-signal"]
    await house.switch(fault.name, on=True)

    write_site(house, tmp_path, today=TODAY)

    (waiver,) = table(tmp_path / "waivers.toml")["waiver"]
    assert (waiver["point"], waiver["rule"]) == (fault.point, fault.found[0][0])
    assert TODAY < waiver["until"] <= TODAY + timedelta(days=366)


async def test_writing_again_replaces_the_files_and_leaves_a_database_alone(
    house: EmulatedHouse, tmp_path: Path
) -> None:
    write_site(house, tmp_path, today=TODAY)
    (tmp_path / "pattress.db").write_bytes(b"kept")
    before = (tmp_path / "points.toml").read_text()

    write_site(house, tmp_path, today=TODAY)

    assert (tmp_path / "points.toml").read_text() == before
    assert (tmp_path / "pattress.db").read_bytes() == b"kept"


async def test_a_watched_site_listens_to_the_router_of_the_house(house: EmulatedHouse, tmp_path: Path) -> None:
    write_site(house, tmp_path, today=TODAY, is_watched=True)

    site = load_site(tmp_path, today=TODAY, builtin_rules={rule.id: rule.severity for rule in BUILTIN_RULES})

    [source] = site.watching.sources
    assert (source.name, source.kind, [str(sender) for sender in source.senders]) == (
        "router", "flows", [house.ground.house_server],
    )  # fmt: skip
    assert site.watching.listening.flows == house.collector
    assert [str(network) for network in site.networks.outside] == ["203.0.113.0/24"]


async def test_a_site_that_nobody_watches_names_no_source(house: EmulatedHouse, tmp_path: Path) -> None:
    write_site(house, tmp_path, today=TODAY)

    site = load_site(tmp_path, today=TODAY, builtin_rules={rule.id: rule.severity for rule in BUILTIN_RULES})

    assert site.watching.sources == ()
