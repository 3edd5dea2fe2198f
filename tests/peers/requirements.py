"""Programs of the system that tests talk to."""

import os
import shutil

import pytest

_PACKAGES = {
    "avahi-daemon": "avahi-daemon",
    "dnsmasq": "dnsmasq-base",
    "ip": "iproute2",
    "logger": "bsdutils",
    "nfcapd": "nfdump",
    "nfdump": "nfdump",
    "nft": "nftables",
    "nsenter": "util-linux",
    "pmacctd": "pmacct",
    "setpriv": "util-linux",
    "softflowd": "softflowd",
    "systemctl": "systemd",
    "systemd-analyze": "systemd",
    "unshare": "util-linux",
}
_SYSTEM_FOLDERS = "/usr/local/sbin:/usr/sbin:/sbin"  # where Debian puts daemons, outside an ordinary user's PATH


def require_peer(program: str) -> str:
    """Return where a program is. A test that lacks it is skipped, and fails where CI is set."""
    found = shutil.which(program, path=f"{os.environ.get('PATH', '')}:{_SYSTEM_FOLDERS}")
    if found is None:
        _miss(f"{program} is not installed (Debian: apt install {_PACKAGES.get(program, program)})")
    assert found is not None
    return found


def require_root() -> None:
    """Skip a test that makes namespaces where we may not; fail it where CI is set."""
    if os.geteuid() != 0:
        _miss("namespaces need root")


def require(is_there: bool, reason: str) -> None:
    """Skip a test where something else than a program is missing; fail it where CI is set."""
    if not is_there:
        _miss(reason)


def _miss(reason: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)
