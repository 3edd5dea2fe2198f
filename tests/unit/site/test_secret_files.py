"""Secrets: found where they should be, and shown to nobody."""

import traceback
from datetime import date
from pathlib import Path

import pytest

from pattress.model.errors import SiteFileError
from pattress.model.site import Secret
from pattress.site.load import load_site
from pattress.site.secret_files import read_secret
from pattress.site.shapes import Mismatch

TODAY = date(2026, 11, 25)
BUILT_IN = {"duplicate-identity": "fault"}


def found_in(content: bytes, tmp_path: Path) -> str | None:
    (tmp_path / "secret").write_bytes(content)
    with pytest.raises(Mismatch) as raised:
        read_secret("secret", folder=tmp_path, credentials_folder=None)
    return raised.value.found


def test_the_credentials_folder_comes_before_the_sites_own(tmp_path: Path) -> None:
    (tmp_path / "secrets").mkdir()
    (tmp_path / "credentials").mkdir()
    (tmp_path / "secrets/broker").write_text("from the site\n")
    (tmp_path / "secrets/other").write_text("only the site's\n")
    (tmp_path / "credentials/broker").write_text("from systemd\n")

    first, second = (
        read_secret(name, folder=tmp_path, credentials_folder=tmp_path / "credentials")
        for name in ("secrets/broker", "secrets/other")
    )

    assert (first, second) == (Secret("from systemd"), Secret("only the site's"))


@pytest.mark.parametrize(
    ("content", "secret"),
    [(b"a b ", "a b "), (b"a\n", "a"), (b"a\r\n", "a"), ("ä€\n".encode(), "ä€")],
)
def test_one_line_end_at_the_end_is_not_the_secrets(tmp_path: Path, content: bytes, secret: str) -> None:
    (tmp_path / "secret").write_bytes(content)

    read = read_secret("secret", folder=tmp_path, credentials_folder=None)

    assert read == Secret(secret)


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "an empty file"),
        (b"\n", "an empty file"),
        (b"tansy\n\n", "a file of more than one line"),
        (b"tansy\nX-Other: 1\n", "a file of more than one line"),
        (b"tansy\xff", "a file that is not text in UTF-8"),
        (b"t" * 4097, "a file of more than 4096 bytes"),
    ],
)
def test_what_cannot_be_one_secret_is_refused(tmp_path: Path, content: bytes, found: str) -> None:
    assert found_in(content, tmp_path) == found


def test_a_secret_that_is_not_there_or_no_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Mismatch) as missing:
        read_secret("none", folder=tmp_path, credentials_folder=tmp_path / "nowhere")
    with pytest.raises(Mismatch) as folder:
        read_secret(".", folder=tmp_path, credentials_folder=None)

    assert missing.value.found == "the name of a file that does not exist"
    assert folder.value.found == "something that is not a regular file"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('password_file = "secrets/broker"', 'password_file = "quarry-lantern-52"'),
        ('password_file = "secrets/broker"', 'password = "quarry-lantern-52"'),
        ('password_file = "secrets/broker"', 'password_file = ["quarry-lantern-52"]'),
        ('password_file = "secrets/broker"', 'password_file = { text = "quarry-lantern-52" }'),
        ('password_file = "secrets/broker"', "password_file = quarry-lantern-52"),
        ('password_file = "secrets/broker"', 'password_file = "quarry-lantern-52'),
        ('host = "192.0.2.2"', 'host = "auditor:quarry-lantern-52@192.0.2.2"'),
        ('name = "barn"', "name = 7"),
    ],
)
def test_a_secret_never_shows_in_a_fault_or_its_traceback(house: Path, old: str, new: str) -> None:
    text = (house / "site.toml").read_text(encoding="utf-8")
    (house / "site.toml").write_text(text.replace(old, new), encoding="utf-8")

    with pytest.raises(SiteFileError) as raised:
        load_site(house, today=TODAY, builtin_rules=BUILT_IN)

    shown = "".join(traceback.format_exception(raised.value)) + str(raised.value) + repr(raised.value.faults)
    assert raised.value.faults
    assert "lantern" not in shown


def test_a_secret_never_shows_in_the_site_that_holds_it(house: Path) -> None:
    site = load_site(house, today=TODAY, builtin_rules=BUILT_IN)

    shown = repr(site) + str(site)
    held = [site.brokers[0].password, *(credential.secret for credential in site.credentials)]

    assert [secret.reveal() for secret in held if secret] == ["quarry-lantern-52", "otter-basalt-19", "fennel-anvil-80"]
    assert not any(word in shown for word in ("lantern", "basalt", "anvil"))
