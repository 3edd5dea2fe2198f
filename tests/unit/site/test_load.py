"""A whole site from its files, and the faults of several files together."""

from dataclasses import replace
from datetime import date
from ipaddress import ip_network
from pathlib import Path

import pytest

from pattress.model.errors import SiteFileError
from pattress.model.site import Broker, Credential, Discovery, Limits, Networks, Secret
from pattress.site import site_file
from pattress.site.files import read_toml
from pattress.site.load import load_policy, load_profiles, load_site
from pattress.site.places import profile_paths, shipped_policy_names, shipped_profiles_folder
from pattress.site.profile_file import profile_of

TODAY = date(2026, 11, 25)
BUILT_IN = {"duplicate-identity": "fault"}


def faults_of(folder: Path) -> list[str]:
    with pytest.raises(SiteFileError) as raised:
        load_site(folder, today=TODAY, builtin_rules=BUILT_IN)
    return [str(fault) for fault in raised.value.faults]


def edit(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {file.name}"
    file.write_text(text.replace(old, new), encoding="utf-8")


def test_a_site_holds_what_its_site_file_says(house: Path) -> None:
    site = load_site(house, today=TODAY, builtin_rules=BUILT_IN)

    devices = (ip_network("192.0.2.0/24"), ip_network("2001:db8:40::/64"))
    assert (site.name, site.folder, site.store_file) == ("Larkspur Mill", house, Path("mill.db"))
    assert site.page_url == "http://pattress.home.arpa"
    assert site.networks == Networks(
        devices=devices,
        inside=(*devices, ip_network("198.51.100.0/24")),
        names=("local", "home.arpa"),
        interfaces=("iot0",),
    )
    assert site.limits == Limits(listen_s=6, answer_s=2.5, device_s=20, at_once=40)
    assert (site.uses_mdns, site.device_ca_file) == (False, house / "house-ca.pem")
    assert site.brokers == (
        Broker(
            name="house",
            host="192.0.2.2",
            port=1884,
            user="auditor",
            password=Secret("quarry-lantern-52"),
            uses_tls=True,
            ca_file=house / "house-ca.pem",
        ),
        Broker(name="barn", host="broker.home.arpa", port=1883),
    )
    assert site.credentials == (
        Credential(secret=Secret("otter-basalt-19"), user="admin", kind="quill-duo"),
        Credential(secret=Secret("fennel-anvil-80"), point="hall-lights"),
    )


def test_a_site_says_how_else_to_look_for_devices(house: Path) -> None:
    keys = 'neighbours = false\nleases = ["/srv/dnsmasq.leases", "kea.csv", "kea.csv"]\nsweep = true\nsweep_per_s = 20'
    edit(house / "site.toml", "listen_s = 6", keys)

    site = load_site(house, today=TODAY, builtin_rules=BUILT_IN)

    files = (Path("/srv/dnsmasq.leases"), house / "kea.csv")
    assert site.discovery == Discovery(neighbours=False, lease_files=files, sweeps=True, sweep_per_s=20)


@pytest.mark.parametrize(("system", "is_on"), [("linux", True), ("darwin", False)])
def test_neighbours_are_looked_at_where_that_is_possible(
    house: Path, system: str, is_on: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(site_file.sys, "platform", system)

    site = load_site(house, today=TODAY, builtin_rules=BUILT_IN)

    assert site.discovery == Discovery(neighbours=is_on)


def test_a_site_holds_the_plan_policy_profiles_and_waivers_of_its_other_files(house: Path) -> None:
    site = load_site(house, today=TODAY, builtin_rules=BUILT_IN)

    assert [point.name for point in site.plan.points] == ["hall-lights", "cellar-heater", "attic-lamps"]
    assert site.policy == load_policy("policy.toml", house)
    assert site.profiles == load_profiles([house / "profiles"])
    assert [waiver.rule for waiver in site.waivers] == ["over-temperature", "duplicate-identity"]


def test_a_site_file_may_leave_out_all_that_is_optional(house: Path) -> None:
    text = 'name = "Small"\npolicy = "policy.toml"\n[networks]\ndevices = ["192.0.2.0/24"]\n[[broker]]\n'
    (house / "site.toml").write_text(text + 'name = "house"\nhost = "192.0.2.2"\ntls = true\n', encoding="utf-8")
    (house / "points.toml").unlink()
    (house / "waivers.toml").unlink()

    site = load_site(house, today=TODAY)

    assert site.networks.names == ("local", "home.arpa", "internal")
    assert (site.limits, site.uses_mdns, site.store_file) == (Limits(), True, Path("pattress.db"))
    assert site.page_url is None
    assert (site.plan.points, site.plan.others, site.waivers) == ((), (), ())
    assert site.brokers[0].port == 8883


def test_files_that_are_not_a_sites_are_left_alone(house: Path) -> None:
    (house / "notes.toml").write_text("this is no TOML", encoding="utf-8")
    (house / "profiles" / "draft.toml.txt").write_text("nor is this", encoding="utf-8")

    site = load_site(house, today=TODAY, builtin_rules=BUILT_IN)

    assert len(site.profiles) == 1


def test_a_folder_without_a_site_file_is_told_how_to_start_one(tmp_path: Path) -> None:
    assert faults_of(tmp_path / "nowhere") == [
        f"site.toml: found no such file, expected a site in {tmp_path / 'nowhere'} "
        "(`pattress init` writes one to start from)."
    ]


def test_faults_of_all_files_come_together_in_order(house: Path) -> None:
    edit(house / "site.toml", "listen_s = 6", 'listen_s = "6"')
    edit(house / "points.toml", 'kind = "quill-duo"\nmac', 'kind = "quil-duo"\nmac')
    edit(house / "points.toml", 'input.1.action = "reports"', 'input.1.action = "report"')
    edit(house / "waivers.toml", 'point = "hall-lights"', 'point = "hall-light"')
    edit(house / "policy.toml", 'severity = "advice"', 'severity = "advise"')
    edit(house / "profiles/quill-duo.toml", 'class = "dual-relay"', 'class = "duo-relay"')

    assert faults_of(house) == [
        'site.toml, line 13: discovery, listen_s: found text "6", expected a number of seconds above 0, at most 600.',
        "points.toml, line 4: point 1 'hall-lights', kind: found text \"quil-duo\", expected the id of a profile. "
        "Did you mean quill-duo?",
        "points.toml, line 12: point 1 'hall-lights', plan, input.1.action: found text \"report\", expected one of "
        "copies, alternates, impulse, reports. Did you mean reports?",
        'waivers.toml, line 3: waiver 1, point: found text "hall-light", expected the name of a point. '
        "Did you mean hall-lights?",
        "policy.toml, line 42: rule 3 'young-firmware', severity: found text \"advise\", expected one of danger, "
        "fault, advice. Did you mean advice?",
        'profiles/quill-duo.toml, line 4: class: found text "duo-relay", expected one of isolated-contact-relay, '
        "metered-relay, dual-relay, shutter, dimmer, led-controller, other. Did you mean dual-relay?",
    ]


def test_one_broken_item_hides_no_fault_of_its_file(house: Path) -> None:
    edit(house / "points.toml", 'room = "Hall"', "room = 1")
    edit(house / "points.toml", 'remark = "Behind the coat hooks."', "remarks = 2")
    edit(house / "points.toml", "output.2.off_after_s = 300", "output.3.off_after_s = 300")
    edit(house / "points.toml", 'serial = "B-0077"', "")

    faults = faults_of(house)

    assert [fault.split(": ")[0] for fault in faults] == [
        "points.toml, line 3",
        "points.toml, line 8",
        "points.toml, line 14",
        "points.toml, line 22",
    ]


@pytest.mark.parametrize("broken", ["id quill-duo", 'maker = "Quill"\n'])
def test_a_broken_profile_file_makes_no_kind_unknown(house: Path, broken: str) -> None:
    (house / "profiles/quill-duo.toml").write_text(broken, encoding="utf-8")

    faults = faults_of(house)

    assert faults
    assert {fault.split(",")[0].split(":")[0] for fault in faults} == {"profiles/quill-duo.toml"}


def test_a_profile_with_a_fault_still_tells_its_name(house: Path) -> None:
    edit(house / "profiles/quill-duo.toml", "has_isolated_contact = true", "has_isolated_contact = 1")
    edit(house / "points.toml", 'room = "Cellar"\nkind = "quill-duo"', 'room = "Cellar"\nkind = "quill-trio"')

    faults = faults_of(house)

    assert [fault.split(":")[0] for fault in faults] == ["points.toml, line 20", "profiles/quill-duo.toml, line 70"]


@pytest.mark.parametrize("name", ["site.toml", "points.toml", "policy.toml"])
def test_a_file_that_is_not_toml_causes_no_faults_in_others(house: Path, name: str) -> None:
    (house / name).write_text("= nothing", encoding="utf-8")

    assert faults_of(house) == [f"{name}, line 1: found what is not TOML (invalid statement), expected valid TOML."]


def test_a_policy_that_does_not_exist_is_named_with_the_nearest(house: Path) -> None:
    edit(house / "site.toml", 'policy = "policy.toml"', 'policy = "policies.toml"')

    assert faults_of(house) == [
        'site.toml, line 2: policy: found text "policies.toml", expected the id of a shipped policy, or the name of '
        "a policy file ending in .toml. Did you mean policy.toml?"
    ]


def test_a_policy_name_that_no_file_system_takes_is_a_fault_and_no_crash(house: Path) -> None:
    edit(house / "site.toml", 'policy = "policy.toml"', f'policy = "{"p" * 300}.toml"')

    assert [fault.split(":")[0] for fault in faults_of(house)] == ["site.toml, line 2"]


WAIVER = '\n[[waiver]]\nrule = "{rule}"\npoint = "hall-lights"\nreason = "x"\nwho = "y"\nuntil = 2027-01-01\n'


def waive(house: Path, rule: str) -> None:
    with (house / "waivers.toml").open("a", encoding="utf-8") as stream:
        stream.write(WAIVER.format(rule=rule))


def test_a_waiver_may_name_a_rule_of_an_included_file(house: Path) -> None:
    edit(house / "base.toml", 'severity = "danger"', 'severity = "fault"')
    waive(house, "cloud-off")

    assert load_site(house, today=TODAY, builtin_rules=BUILT_IN).waivers[-1].rule == "cloud-off"


def test_a_waiver_of_a_rule_that_was_dropped_is_a_fault(house: Path) -> None:
    waive(house, "password-set")

    [fault] = faults_of(house)

    assert 'rule: found text "password-set", expected the id of a rule' in fault


def test_a_waiver_of_a_rule_that_was_made_a_danger_says_why_it_is_safe(house: Path) -> None:
    waive(house, "signal")

    [fault] = faults_of(house)

    assert "safe_because: found nothing" in fault


def test_a_shipped_policy_is_loaded_by_its_id_from_anywhere(tmp_path: Path) -> None:
    names = shipped_policy_names()

    policies = [load_policy(name, tmp_path) for name in names]

    assert "isolated-house" in names
    assert [policy.id for policy in policies] == list(names)


def test_an_unknown_shipped_policy_is_a_fault_with_the_nearest_id(tmp_path: Path) -> None:
    with pytest.raises(SiteFileError) as raised:
        load_policy("isolated-hose", tmp_path)

    assert str(raised.value.faults[0]) == (
        "isolated-hose: found no such policy, expected the id of a shipped policy, or the name of a policy file "
        "ending in .toml. Did you mean isolated-house?"
    )


def test_a_missing_policy_file_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(SiteFileError) as raised:
        load_policy("none.toml", tmp_path)

    assert [str(fault) for fault in raised.value.faults] == ["none.toml: found no such file, expected a TOML file."]


def test_shipped_profiles_and_those_of_a_site_are_one_library(house: Path, tmp_path: Path) -> None:
    text = (house / "profiles/quill-duo.toml").read_text(encoding="utf-8")
    (tmp_path / "shipped").mkdir()
    (tmp_path / "shipped/other.toml").write_text(text.replace('id = "quill-duo"', 'id = "quill-uno"'), encoding="utf-8")

    profiles = load_site(house, today=TODAY, builtin_rules=BUILT_IN).profiles

    assert [profile.id for profile in profiles] == ["quill-uno", "quill-duo"]
    assert replace(profiles[0], id="quill-duo") == profiles[1]


def test_two_profiles_of_one_id_are_a_fault_that_names_both_lines(house: Path) -> None:
    text = (house / "profiles/quill-duo.toml").read_text(encoding="utf-8")
    (house / "profiles/again.toml").write_text("# a copy\n\n" + text, encoding="utf-8")

    assert faults_of(house) == [
        'profiles/quill-duo.toml, line 1: id: found text "quill-duo" again (first in profiles/again.toml, line 3), '
        "expected an id that no other profile has."
    ]


def test_every_shipped_profile_is_right() -> None:
    paths = profile_paths(shipped_profiles_folder())

    faults = []
    for path in paths:
        file = read_toml(path, path.name)
        profile_of(file)
        faults += [str(fault) for fault in file.faults]

    assert faults == []
    assert len(load_profiles([shipped_profiles_folder()])) == len(paths)
