"""A device that suddenly calls many hosts or ports of the inside."""

from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

import pytest

from pattress.egress import company
from pattress.egress.company import MAX_HOSTS, MAX_PORTS, CompanyTable, unlike_before
from pattress.model.encounter import Company

NOON = datetime(2026, 3, 1, 12, 10, tzinfo=UTC)
HOUR = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
HUB = ip_address("10.20.0.2")


def hour(hosts: int, ports: int = 1, *, days_ago: float = 0) -> Company:
    return Company(device="mac:1", hour=HOUR - timedelta(days=days_ago), hosts=hosts, ports=ports)


def test_hosts_and_ports_are_counted_by_the_hour() -> None:
    table = CompanyTable()
    for port in (80, 80, 443):
        table.call("mac:1", HUB, port, NOON)
    table.call("mac:1", HUB + 1, None, NOON)

    assert table.take_changed() == [Company(device="mac:1", hour=HOUR, hosts=2, ports=2)]
    table.call("mac:1", HUB, 443, NOON)
    assert table.take_changed() == [], "nobody new was called"
    table.call("mac:1", HUB, 443, NOON + timedelta(hours=1))
    assert table.take_changed() == [Company(device="mac:1", hour=HOUR + timedelta(hours=1), hosts=1, ports=1)]


@pytest.mark.parametrize("address", ["224.0.0.251", "ff02::fb", "0.0.0.0"])
def test_what_goes_to_many_is_no_call(address: str) -> None:
    table = CompanyTable()

    table.call("mac:1", ip_address(address), 5353, NOON)

    assert table.take_changed() == []


def test_a_scan_takes_no_more_than_its_bound() -> None:
    table = CompanyTable()
    for number in range(MAX_HOSTS + 10):
        table.call("mac:1", HUB + number, 80, NOON)
    for port in range(1, MAX_PORTS + 10):
        table.call("mac:1", HUB, port, NOON)

    [one] = table.take_changed()

    assert (one.hosts, one.ports) == (MAX_HOSTS, MAX_PORTS)


def test_devices_of_an_hour_that_is_over_make_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(company, "MAX_DEVICES", 2)
    table, later = CompanyTable(), NOON + timedelta(hours=1)
    for number in range(3):
        table.call(f"mac:{number}", HUB, 80, NOON)
    assert [one.device for one in table.take_changed()] == ["mac:0", "mac:1"]

    table.call("mac:1", HUB, 443, NOON)
    for device in ("mac:0", "mac:3", "mac:4"):
        table.call(device, HUB, 80, later)

    assert [(one.device, one.hour - HOUR) for one in table.take_changed()] == [
        ("mac:0", timedelta(hours=1)),
        ("mac:3", timedelta(hours=1)),
    ]


def test_far_more_than_ever_before_is_said() -> None:
    past = [hour(3, 2, days_ago=days) for days in (8, 3, 1)]

    assert unlike_before(hour(10), past) is None
    assert unlike_before(hour(11), past) == "it called 11 hosts of the inside within an hour; never more than 3 before"
    assert unlike_before(hour(2, 20), past) is None
    assert unlike_before(hour(2, 21), past) == "it called 21 ports of one host within an hour; never more than 2 before"
    assert unlike_before(hour(30), [*past, hour(10, days_ago=2)]) is None, "three times as many are no surprise"


def test_of_a_device_that_is_new_nothing_is_said() -> None:
    assert unlike_before(hour(100), []) is None
    assert unlike_before(hour(100), [hour(1, days_ago=6.9)]) is None
    assert unlike_before(hour(100), [hour(1, days_ago=7)]) is not None
