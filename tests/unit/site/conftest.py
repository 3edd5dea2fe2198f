"""A whole and right site, copied for each test, which the tests then break in one place."""

import shutil
from pathlib import Path

import pytest

from pattress.site import load

HOUSE = Path(__file__).parent / "house"
SECRETS = {"broker": "quarry-lantern-52\n", "modules": "otter-basalt-19\r\n", "hall": "fennel-anvil-80"}


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of the site, with its secrets, and with no profiles but its own."""
    folder = tmp_path / "house"
    shutil.copytree(HOUSE, folder)
    (folder / "secrets").mkdir(mode=0o700)
    for name, secret in SECRETS.items():
        (folder / "secrets" / name).write_bytes(secret.encode())
    monkeypatch.setattr(load, "shipped_profiles_folder", lambda: tmp_path / "shipped")
    return folder
