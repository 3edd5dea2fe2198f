"""Where the shipped files are, in a checkout and in an installed wheel."""

from pathlib import Path

import pytest

from pattress.site import places


def test_a_checkout_has_its_policies_beside_its_source() -> None:
    folder = places.shipped_policies_folder()

    assert (folder / "isolated-house.toml").is_file()


def test_an_installed_wheel_has_its_policies_within_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "site-packages" / "pattress"
    (package / "policies").mkdir(parents=True)
    monkeypatch.setattr(places, "_PACKAGE", package)

    folder = places.shipped_policies_folder()

    assert folder == package / "policies"


@pytest.mark.parametrize(
    ("name", "is_file"), [("isolated-house", False), ("policy.toml", True), ("../shared/p.toml", True), ("a/b", True)]
)
def test_a_policy_is_named_by_its_file_or_its_id(name: str, is_file: bool) -> None:
    assert places.is_policy_file(name) == is_file


def test_a_file_is_shown_by_its_name_in_the_site_or_the_package() -> None:
    shown = [
        places.shown_name(path, Path("/house"))
        for path in (
            Path("/house/profiles/a.toml"),
            places.shipped_profiles_folder() / "b.toml",
            places.shipped_policies_folder() / "c.toml",
            Path("/elsewhere/d.toml"),
        )
    ]

    assert shown == ["profiles/a.toml", "pattress/profiles/b.toml", "policies/c.toml", "/elsewhere/d.toml"]
