"""What a site says of watching the way to the outside. Each single fault is a case of `broken/watch.toml`."""

from datetime import date
from ipaddress import IPv4Address, IPv6Address, ip_network
from pathlib import Path

import pytest

from pattress.model.errors import SiteFileError
from pattress.model.site import Site
from pattress.model.watching import Allowance, Listening, MudFile, Watching, WatchSource
from pattress.site.load import load_site
from pattress.site.watch_allowances import MAX_MUD_BYTES

TODAY = date(2026, 11, 25)
BUILT_IN = {"duplicate-identity": "fault"}
MUD = {"ietf-mud:mud": {"mud-version": 1}}


def load(house: Path) -> Site:
    return load_site(house, today=TODAY, builtin_rules=BUILT_IN)


def edit(house: Path, old: str, new: str) -> None:
    text = (house / "site.toml").read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
    (house / "site.toml").write_text(text.replace(old, new), encoding="utf-8")


def faults_of(house: Path) -> list[str]:
    with pytest.raises(SiteFileError) as raised:
        load(house)
    return [str(fault) for fault in raised.value.faults]


def test_everything_that_is_said_of_watching_is_there(house: Path) -> None:
    watching = load(house).watching

    assert watching == Watching(
        listening=Listening(flows=("192.0.2.2", 4739), syslog=("::1", 5514)),
        sources=(
            WatchSource(
                name="router-flows",
                kind="flows",
                senders=(IPv4Address("192.0.2.1"), IPv6Address("2001:db8:40::1")),
                is_after_filter=True,
                silent_after_s=600,
            ),
            WatchSource(
                name="router-log",
                kind="firewall",
                senders=(IPv4Address("192.0.2.1"),),
                verdicts={"iot-drop": "dropped", "iot-pass": "let-through"},
            ),
            WatchSource(
                name="resolver",
                kind="names",
                file=house / "logs/resolver.log",
                pattern=r"client (?P<asker>\S+)#\d+ asks (?P<name>\S+)",
            ),
            WatchSource(name="own-table", kind="connections"),
        ),
        allowances=(
            Allowance(
                reason="The time server of the house.",
                network=ip_network("203.0.113.7/32"),
                ports=((123, 123), (8000, 8010)),
                protocol=17,
                point="hall-lights",
            ),
            Allowance(
                reason="Where modules look for the time.", name="*.pool.example", kind="quill-duo", is_inbound=True
            ),
        ),
        mud_files=(MudFile(file="quill.mud.json", document=MUD, kind="quill-duo"),),
        tells_tried_at_once=True,
    )


def test_a_site_that_says_nothing_of_it_watches_nothing(house: Path) -> None:
    text = (house / "site.toml").read_text(encoding="utf-8")
    (house / "site.toml").write_text(text.partition("[watch]")[0], encoding="utf-8")

    site = load(house)

    assert site.watching == Watching()
    assert site.networks.outside == ()


def test_networks_that_count_as_outside_are_there(house: Path) -> None:
    edit(house, 'interfaces = ["iot0"]', 'outside = ["203.0.113.0/24", "2001:db8:ff::/48"]')

    networks = load(house).networks

    assert networks.outside == (ip_network("203.0.113.0/24"), ip_network("2001:db8:ff::/48"))
    assert networks.names == ("local", "home.arpa")


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ('"0.0.0.0:2055"', ("0.0.0.0", 2055)),
        ('"[2001:db8::2]:4739"', ("2001:db8::2", 4739)),
        ('"[fe80::2%iot0]:4739"', ("fe80::2%iot0", 4739)),
        ('"watch.home.arpa:4739"', ("watch.home.arpa", 4739)),
    ],
)
def test_a_place_to_listen_is_an_address_or_a_name_with_a_port(
    written: str, expected: tuple[str, int], house: Path
) -> None:
    edit(house, '"192.0.2.2:4739"', written)

    assert load(house).watching.listening.flows == expected


@pytest.mark.parametrize(
    ("written", "expected"), [('"tcp"', 6), ('"udp"', 17), ("47", 47), ("0", 0), ("255", 255), ("1", 1)]
)
def test_a_protocol_is_a_word_or_a_number(written: str, expected: int, house: Path) -> None:
    edit(house, 'ports = [123, "8000-8010"]\nprotocol = "udp"', f"protocol = {written}")

    assert load(house).watching.allowances[0].protocol == expected


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("203.0.113.0/24", "203.0.113.0/24"),
        ("2001:db8:1::5", "2001:db8:1::5/128"),
        ("::ffff:203.0.113.9", "203.0.113.9/32"),
    ],
)
def test_what_is_allowed_is_an_address_or_a_network(written: str, expected: str, house: Path) -> None:
    edit(house, '"203.0.113.7"', f'"{written}"')

    assert load(house).watching.allowances[0].network == ip_network(expected)


@pytest.mark.parametrize(
    "key",
    [
        'to = "203.0.113.9"',
        'name = "a.example"',
        "ports = [53]",
        'protocol = "tcp"',
        'point = "hall-lights"',
        'kind = "quill-duo"',
    ],
)
def test_one_restriction_is_enough_for_an_allowance(key: str, house: Path) -> None:
    edit(house, "[[watch.mud]]", f'[[watch.allow]]\n{key}\nreason = "So it is."\n\n[[watch.mud]]')

    assert len(load(house).watching.allowances) == 3


@pytest.mark.parametrize(
    "unit", ["kernel", "dnsmasq.service", "dnsmasq@iot0.service", r"systemd-fsck@dev-a\x2db.service"]
)
def test_log_lines_may_come_from_the_journal(unit: str, house: Path) -> None:
    edit(house, 'file = "logs/resolver.log"', f"journal = '{unit}'")

    assert load(house).watching.sources[2].journal == unit


def test_two_sources_of_different_kinds_may_share_a_sender_and_one_may_name_it_twice(house: Path) -> None:
    edit(house, 'file = "logs/resolver.log"', 'from = ["192.0.2.1", "192.0.2.1"]')

    sources = load(house).watching.sources

    assert [source.senders for source in sources[1:3]] == [(IPv4Address("192.0.2.1"),)] * 2


def test_every_fault_is_told_at_once(house: Path) -> None:
    edit(house, 'tried = "at once"', 'tried = "never"')
    edit(house, 'kind = "firewall"', 'kind = "fire"')
    edit(house, 'file = "logs/resolver.log"', 'sees = "after-filter"')
    edit(house, 'protocol = "udp"', 'protocol = "quic"')
    edit(house, 'file = "quill.mud.json"', 'file = "none.json"')

    assert [fault.partition(": found")[0] for fault in faults_of(house)] == [
        "site.toml, line 46: watch, tried",
        "site.toml, line 57: watch, source 2 'router-log', kind",
        "site.toml, line 61: watch, source 3 'resolver'",
        "site.toml, line 64: watch, source 3 'resolver', sees",
        "site.toml, line 74: watch, allow 1, protocol",
        "site.toml, line 86: watch, mud 1, file",
    ]


def test_points_and_kinds_that_another_file_cannot_tell_are_not_called_unknown(house: Path) -> None:
    (house / "points.toml").write_text("[[point]\n", encoding="utf-8")

    assert [fault.split(",")[0] for fault in faults_of(house)] == ["points.toml"]


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"[1, 2]", "which holds a list"),
        (b'{"a": NaN}', "which is not JSON"),
        (b'{"a": \xff}', "which is not JSON"),
        (b'{\n"a": }', "which is not JSON in its line 2"),
        (b"[" * 200_000, "which is nested too deep"),
        (b'{"a": ' + b"9" * 5_000 + b"}", "which is not JSON"),
        (b" " * MAX_MUD_BYTES + b"{}", f"which has more than {MAX_MUD_BYTES} bytes"),
        (b"", "which is not JSON in its line 1"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_mud_file_that_cannot_be_read_is_a_fault_of_the_line_that_names_it(
    content: bytes, found: str, house: Path
) -> None:
    (house / "quill.mud.json").write_bytes(content)

    (fault,) = faults_of(house)

    assert fault == (
        f'site.toml, line 86: watch, mud 1, file: found text "quill.mud.json", {found}, expected a MUD file: one JSON'
        " object of at most 1 MiB, relative to the site's folder."
    )


def test_a_mud_file_of_just_the_greatest_size_is_read(house: Path) -> None:
    (house / "quill.mud.json").write_bytes(b"{}" + b" " * (MAX_MUD_BYTES - 2))

    assert load(house).watching.mud_files[0].document == {}


def test_a_name_that_no_file_can_have_is_a_fault(house: Path) -> None:
    edit(house, 'file = "quill.mud.json"', f'file = "{"x" * 300}"')

    (fault,) = faults_of(house)

    assert "which cannot be read (file name too long)" in fault
