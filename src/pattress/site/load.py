"""A site's folder into a `Site`: all of its files, checked together and against one another.

What belongs here: which files are read, in which order, and what each needs of the others. A file with faults hides
none of the others' faults, and causes none: names that it may define are then not called unknown.
"""

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pattress.model.errors import Fault, SiteFileError
from pattress.model.profile import Profile
from pattress.model.rules import Policy, Severity
from pattress.model.site import Site
from pattress.site.files import TomlFile, read_toml
from pattress.site.names import Known, known_names, nearest
from pattress.site.places import (
    A_POLICY,
    POINTS_FILE,
    PROFILES_FOLDER,
    SITE_FILE,
    TABLES_FILE,
    WAIVERS_FILE,
    is_policy_file,
    policy_path,
    profile_paths,
    shipped_policy_names,
    shipped_profiles_folder,
    shown_name,
)
from pattress.site.points_file import Ground, plan_of, point_names
from pattress.site.policy_file import policy_of, waivable_rules
from pattress.site.policy_parts import PolicyPart, read_policy_parts
from pattress.site.profile_file import profile_of
from pattress.site.rule_tables import Surroundings
from pattress.site.shapes import is_identifier
from pattress.site.site_file import check_credentials, site_file_of
from pattress.site.tables_file import tables_of
from pattress.site.waivers_file import Waivable, waivers_of
from pattress.site.watch_file import watching_of
from pattress.site.words import said


def load_site(
    folder: Path,
    *,
    today: date,
    builtin_rules: Mapping[str, Severity] | None = None,
    credentials_folder: Path | None = None,
    waivers_file: Path | None = None,
) -> Site:
    """Return the site that the files in `folder` describe.

    `builtin_rules` are the rules that the program itself has, by id; waivers may name them and policies may not.
    `credentials_folder` is where systemd has put credentials; secrets are looked for there first. `waivers_file` is
    read in the place of the site's own, so that new waivers can be tried before they are in force.

    Raises:
        SiteFileError: With every fault of every file.
    """
    built_in = dict(builtin_rules or {})
    site_toml = read_toml(folder / SITE_FILE, SITE_FILE)
    if not (folder / SITE_FILE).exists():
        raise SiteFileError([_no_site(folder)])
    library = _read_profiles([shipped_profiles_folder(), folder / PROFILES_FOLDER], folder)
    points_toml = _read_optional(folder / POINTS_FILE, POINTS_FILE)
    waivers_toml = _read_optional(waivers_file or folder / WAIVERS_FILE, WAIVERS_FILE)
    tables_toml = _read_optional(folder / TABLES_FILE, TABLES_FILE)
    policy_parts = _read_policy(site_toml, folder)

    site_file = site_file_of(site_toml, folder=folder, credentials_folder=credentials_folder)
    points = point_names(points_toml)
    check_credentials(site_toml, kinds=library.kinds, points=points)
    watching = watching_of(site_toml, folder, kinds=library.kinds, points=points)
    networks = site_file.networks if site_file else None
    ground = Ground(
        kinds=library.kinds,
        profiles={profile.id: profile for profile in library.profiles},
        networks=networks.devices if networks else (),
    )
    plan = plan_of(points_toml, ground)
    surroundings = Surroundings(kinds=library.kinds, makers=library.makers, built_in=built_in)
    policy = policy_of(policy_parts, surroundings)
    waivers = waivers_of(waivers_toml, _waivable(policy_parts, built_in, points), today=today)
    tables = tables_of(tables_toml)

    _raise_faults([site_toml, points_toml, waivers_toml, tables_toml, *_files(policy_parts), *library.files])
    if site_file is None or site_file.name is None or networks is None or policy is None:
        raise AssertionError("a site without faults is whole")
    return Site(
        name=site_file.name,
        folder=folder,
        networks=networks,
        plan=plan,
        policy=policy,
        profiles=library.profiles,
        brokers=site_file.brokers,
        credentials=site_file.credentials,
        waivers=waivers,
        limits=site_file.limits,
        uses_mdns=site_file.uses_mdns,
        discovery=site_file.discovery,
        watching=watching,
        device_ca_file=site_file.device_ca_file,
        store_file=site_file.store_file,
        page_url=site_file.page_url,
        tables=tables,
    )


def load_policy(name_or_path: str, folder: Path, surroundings: Surroundings | None = None) -> Policy:
    """Return a policy by the id of a shipped one, or from a file relative to `folder`.

    `surroundings` are what its rules may refer to; None is that nothing is known, so that no kind is called unknown.

    Raises:
        SiteFileError: With every fault of its files, or the nearest shipped policy where there is none of that id.
    """
    if not is_policy_file(name_or_path) and name_or_path not in shipped_policy_names():
        close = nearest(name_or_path, shipped_policy_names())
        raise SiteFileError(
            [Fault(file=name_or_path, line=None, place="", found="no such policy", expected=A_POLICY, nearest=close)]
        )
    path = policy_path(name_or_path, folder)
    parts = read_policy_parts(path, folder)
    policy = policy_of(parts, surroundings or Surroundings())
    _raise_faults(_files(parts))
    if policy is None:
        raise AssertionError("a policy without faults is whole")
    return policy


def surroundings_of(site: Site | None, built_in: Iterable[str]) -> Surroundings:
    """Return what the rules of another policy for a site may refer to; without a site no kind is called unknown."""
    if site is None:
        return Surroundings(built_in=frozenset(built_in))
    return Surroundings(
        kinds=Known(names=frozenset(profile.id for profile in site.profiles)),
        makers=Known(names=frozenset(profile.maker for profile in site.profiles)),
        built_in=frozenset(built_in),
    )


def load_profiles(folders: Sequence[Path]) -> tuple[Profile, ...]:
    """Return the profiles in these folders, in order of folder and file name. A folder that is missing holds none.

    Raises:
        SiteFileError: With every fault of every file.
    """
    library = _read_profiles(folders, None)
    _raise_faults(library.files)
    return library.profiles


@dataclass(frozen=True, slots=True)
class _Library:
    """Profile files and what they hold. Names are complete only where every file could tell its own."""

    files: tuple[TomlFile, ...]
    profiles: tuple[Profile, ...]

    @property
    def kinds(self) -> Known:
        return known_names((file.data.get("id") for file in self.files), is_identifier)

    @property
    def makers(self) -> Known:
        makers = [file.data.get("maker") for file in self.files]
        known = frozenset(maker for maker in makers if isinstance(maker, str))
        return Known(names=known, is_complete=all(isinstance(maker, str) for maker in makers))


def _read_profiles(folders: Sequence[Path], site_folder: Path | None) -> _Library:
    paths = [path for folder in folders for path in profile_paths(folder)]
    files = tuple(read_toml(path, shown_name(path, site_folder or path.parent.parent)) for path in paths)
    profiles = [profile_of(file) for file in files]
    first: dict[str, TomlFile] = {}
    for file in files:
        kind = file.data.get("id")
        if not isinstance(kind, str):
            continue
        if kind in first:
            earlier = first[kind]
            found = f"{said(kind)} again (first in {earlier.shown}, line {earlier.lines.line_of(('id',))})"
            file.fault(("id",), found=found, expected="an id that no other profile has")
        first.setdefault(kind, file)
    return _Library(files, tuple(profile for profile in profiles if profile is not None))


def _read_optional(path: Path, shown: str) -> TomlFile:
    return read_toml(path, shown) if path.exists() else TomlFile(shown=shown)


def _read_policy(site_toml: TomlFile, folder: Path) -> tuple[PolicyPart, ...]:
    """The files of the policy that the site names, or none: a fault of the site file, which says why."""
    name = site_toml.data.get("policy")
    if not isinstance(name, str) or not name.strip():
        return ()
    path = policy_path(name, folder)
    # Not the method of the path: it raises where a name is longer than the file system allows.
    if os.path.exists(path) and (is_policy_file(name) or name in shipped_policy_names()):
        return read_policy_parts(path, folder)
    local = [file.name for file in folder.glob("*.toml") if file.name not in _NOT_POLICIES]
    close = nearest(name, [*shipped_policy_names(), *sorted(local)])
    site_toml.fault(("policy",), found=said(name), expected=A_POLICY, nearest=close)
    return ()


_NOT_POLICIES = (SITE_FILE, POINTS_FILE, WAIVERS_FILE, TABLES_FILE)


def _files(parts: Sequence[PolicyPart]) -> list[TomlFile]:
    """The files of a policy, its own first."""
    return [part.file for part in reversed(parts)]


def _waivable(parts: Sequence[PolicyPart], built_in: Mapping[str, Severity], points: Known) -> Waivable:
    rules, severities = waivable_rules(parts)
    known = Known(names=rules.names | built_in.keys(), is_complete=rules.is_complete)
    return Waivable(rules=known, severities={**severities, **built_in}, points=points)


def _no_site(folder: Path) -> Fault:
    expected = f"a site in {folder} (`pattress init` writes one to start from)"
    return Fault(file=SITE_FILE, line=None, place="", found="no such file", expected=expected)


def _raise_faults(files: Iterable[TomlFile]) -> None:
    faults = [fault for file in files for fault in sorted(file.faults, key=lambda fault: fault.line or 0)]
    if faults:
        raise SiteFileError(faults)
