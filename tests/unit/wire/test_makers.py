"""Whose a hardware address is."""

import subprocess
import sys

import pytest

from pattress.wire.makers import maker_of


def test_a_registered_address_has_a_maker() -> None:
    # RFC 9542 section 1.4: the block 00-00-5E is IANA's, which the registry knows by its operator.
    assert maker_of("00:00:5e:00:53:01") == "ICANN, IANA Department"


@pytest.mark.parametrize(
    ("mac", "why"),
    [
        ("02:00:5e:00:53:01", "locally administered"),
        ("01:00:5e:00:00:01", "the address of a group"),
        ("00:50:c2:00:00:01", "a block that is split among many"),
        ("fc:ff:ff:00:00:01", "registered by nobody"),
    ],
)
def test_an_address_that_says_nothing_of_its_maker_has_none(mac: str, why: str) -> None:
    assert maker_of(mac) is None, why


def test_the_register_is_read_only_when_it_is_asked() -> None:
    code = "import sys, pattress.wire.makers as m; m.maker_of('02:00:5e:00:53:01'); sys.exit('netaddr' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
