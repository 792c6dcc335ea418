"""Where profiles are found: beside the package, in it, and in the user's folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import platformdirs
import pytest

import usbwatch
from usbwatch.errors import BadProfile, NoProfile
from usbwatch.model import UnitStrings
from usbwatch.profile import find, fitting, known, library, load, shipped
from usbwatch.profile.library import users_folder

ROOT = Path(__file__).parent.parent.parent
SHIPPED = ["brackwell-heron-14", "fernhill-larch-13", "generic-clamshell", "ostrey-plover-12"]


def write(folder: Path, id_: str, name: str = "Mine", file: str = "") -> Path:
    path = folder / (file or f"{id_}.toml")
    text = f'format = "usbwatch-profile"\nschema = 1\nid = "{id_}"\nname = "{name}"\nsource = "Invented."\n'
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's folder of profiles: empty, and named by the variable."""
    folder = tmp_path / "own"
    folder.mkdir()
    monkeypatch.setenv("USBWATCH_PROFILES", str(folder))
    return folder


def test_the_shipped_profiles_are_known(own: Path) -> None:
    assert [profile.id for profile in known()] == SHIPPED
    assert library().broken == ()
    assert not list(own.iterdir())


def test_the_users_profiles_come_first(own: Path) -> None:
    write(own, "zz-mine")
    assert [profile.id for profile in known()] == ["zz-mine", *SHIPPED]


def test_the_users_profile_takes_the_place_of_a_shipped_one(own: Path) -> None:
    write(own, "fernhill-larch-13", "My Larch")
    assert [profile.id for profile in known()].count("fernhill-larch-13") == 1
    assert find("fernhill-larch-13").name == "My Larch"


def test_a_broken_file_is_a_value_and_ends_nothing(own: Path) -> None:
    write(own, "good")
    (own / "bad.toml").write_text("format = ", encoding="utf-8")
    (own / "folder.toml").mkdir()
    found = library()
    assert [profile.id for profile in found.profiles] == ["good", *SHIPPED]
    assert [Path(error.path).name for error in found.broken] == ["bad.toml", "folder.toml"]


def test_two_files_with_one_id_are_not_both_taken(own: Path) -> None:
    write(own, "same", "First", "a.toml")
    write(own, "same", "Second", "b.toml")
    found = library()
    assert [profile.name for profile in found.profiles if profile.id == "same"] == ["First"]
    assert (
        str(found.broken[0]) == f"profile {own / 'b.toml'}: 1 fault:\n  id: same is taken by a.toml in the same folder"
    )


LARCH = UnitStrings(sys_vendor="Fernhill", product_name="Larch 13", product_family="Larch")


def made_for(folder: Path, file: str, id_: str, match: str, more: str = "") -> None:
    """A profile of the user's with this ``match``, and whatever else."""
    path = write(folder, id_, file, f"{file}.toml")
    path.write_text(f"{path.read_text('utf-8')}{more}\n[match]\n{match}\n", "utf-8")


MADE_FOR_IT = {
    "plain": 'sys_vendor = ["Fernhill"]',
    "another case, more spaces": 'product_name = [" LARCH   13 "]',
    "one of several": 'sys_vendor = ["Other", "Fernhill"]',
    "an escape": 'sys_vendor = ["\\u0046ernhill"]',
    "a quoted key": '"sys_vendor" = ["Fernhill"]',
    "an escape in a key": '"sys_\\u0076endor" = ["Fernhill"]',
    "over lines": 'sys_vendor = [\n  """Fern\\\n   hill""",\n]',
    "a literal string": "sys_vendor = ['  Fernhill']",
}


@pytest.mark.parametrize("match", MADE_FOR_IT.values(), ids=MADE_FOR_IT)
def test_what_fits_a_unit_is_read_however_it_is_written(own: Path, match: str) -> None:
    made_for(own, "mine", "mine", match)
    every, near = library(), library(LARCH)
    assert "mine" in [profile.id for profile in fitting(LARCH, near.profiles)]
    assert fitting(LARCH, near.profiles) == fitting(LARCH, every.profiles)


def test_what_is_of_another_unit_is_not_read(own: Path) -> None:
    made_for(own, "other", "other", 'sys_vendor = ["Fernhill & Sons"]', 'domains = "no list"')
    assert [Path(error.path).name for error in library().broken] == ["other.toml"]
    near = library(LARCH)
    assert [profile.id for profile in near.profiles] == ["fernhill-larch-13"]
    assert near.broken == ()


@pytest.mark.parametrize("first", ["Other", "Fernhill"])
@pytest.mark.parametrize("id_", ["mine", "fernhill-larch-13"])
def test_of_two_with_one_id_the_same_is_taken_whatever_unit_it_is_asked_for(own: Path, id_: str, first: str) -> None:
    second = {"Other": "Fernhill", "Fernhill": "Other"}[first]
    made_for(own, "a", id_, f'sys_vendor = ["{first}"]')
    made_for(own, "b", id_, f'sys_vendor = ["{second}"]')
    every, near = library(), library(LARCH)
    assert fitting(LARCH, near.profiles) == fitting(LARCH, every.profiles)
    assert [Path(error.path).name for error in every.broken] == ["b.toml"]
    assert ("a" in [profile.name for profile in fitting(LARCH, near.profiles)]) == (first == "Fernhill")


def test_the_users_profile_takes_the_place_of_a_shipped_one_though_it_fits_another_unit(own: Path) -> None:
    made_for(own, "a", "fernhill-larch-13", 'sys_vendor = ["Other"]')
    assert fitting(LARCH, library(LARCH).profiles) == fitting(LARCH, known()) == ()


def test_other_files_are_passed_over(own: Path) -> None:
    write(own, "hidden", file=".hidden.toml")
    write(own, "backup", file="backup.toml~")
    (own / "README").write_text("x", encoding="utf-8")
    assert [profile.id for profile in known()] == SHIPPED


def test_a_folder_that_the_variable_names_in_vain_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("USBWATCH_PROFILES", str(tmp_path / "nowhere"))
    found = library()
    assert [profile.id for profile in found.profiles] == SHIPPED
    assert "cannot be listed: No such file or directory; create it or mend USBWATCH_PROFILES" in str(found.broken[0])


@pytest.mark.parametrize("value", [None, ""], ids=["unset", "empty"])
def test_without_the_variable_it_is_the_systems_data_folder(value: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    if value is None:
        monkeypatch.delenv("USBWATCH_PROFILES", raising=False)
    else:
        monkeypatch.setenv("USBWATCH_PROFILES", value)
    assert users_folder() == Path(platformdirs.user_data_dir("usbwatch")) / "profiles"


def test_a_users_folder_that_was_never_made_is_no_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("USBWATCH_PROFILES", raising=False)
    monkeypatch.setattr(platformdirs, "user_data_dir", lambda _name: str(tmp_path / "never-made"))
    assert library().broken == ()


def test_a_profile_is_found_by_id() -> None:
    assert find("ostrey-plover-12").name == "Ostrey Plover 12"


def test_a_profile_is_found_by_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, "elsewhere", file="any-name.toml")
    assert find(str(path)).id == "elsewhere"
    monkeypatch.chdir(tmp_path)
    assert find("any-name.toml").path == "any-name.toml"


def test_an_unknown_name_lists_the_known_ones(own: Path) -> None:
    write(own, "mine")
    with pytest.raises(NoProfile) as refused:
        find("larch")
    assert refused.value.known == ("mine", *SHIPPED)


def test_the_name_of_a_broken_file_tells_its_faults(own: Path) -> None:
    (own / "mine.toml").write_text("format = ", encoding="utf-8")
    with pytest.raises(BadProfile, match="not TOML"):
        find("mine")


def test_a_name_with_a_path_separator_is_a_file() -> None:
    with pytest.raises(BadProfile, match="there is no such file"):
        find(os.path.join("nowhere", "larch"))  # noqa: PTH118 - a name as a user types it


def test_a_hostile_name_is_shown_escaped() -> None:
    with pytest.raises(NoProfile) as refused:
        find("\x1b[2J")
    assert "\x1b" not in str(refused.value)


def test_in_the_source_tree_shipped_files_are_beside_the_package() -> None:
    assert shipped("profiles") == ROOT / "profiles"
    assert shipped("captures") == ROOT / "captures"


def test_what_is_in_the_package_goes_before_what_is_beside_it(tmp_path: Path) -> None:
    """Beside an installed package a folder named profiles would be somebody else's."""
    inside = tmp_path / "usbwatch" / "_shipped" / "profiles"
    inside.mkdir(parents=True)
    (tmp_path / "profiles").mkdir()
    assert shipped("profiles", tmp_path / "usbwatch") == inside


def test_an_incomplete_installation_says_so(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="usbwatch is installed without its captures"):
        shipped("captures", tmp_path / "usbwatch")


def test_an_installed_package_finds_its_own(tmp_path: Path) -> None:
    """The package laid out as its wheel is, by what pyproject.toml says, and asked from outside the source tree."""
    build = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["hatch"]["build"]
    wheel = build["targets"]["wheel"]
    site = tmp_path / "site"
    assert wheel["packages"] == ["usbwatch"]
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(Path(usbwatch.__file__).parent, site / "usbwatch", ignore=ignored)
    for source, target in wheel["force-include"].items():
        shutil.copytree(ROOT / source, site / target, ignore=ignored)
    script = (
        "import usbwatch.profile as p; print(*(x.id for x in p.known())); "
        "print(p.shipped('profiles')); print(p.shipped('captures'))"
    )
    environment = {
        **os.environ,
        "PYTHONPATH": str(site),
        "USBWATCH_PROFILES": str(tmp_path),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
    )
    ids, profiles, captures = done.stdout.splitlines()
    assert ids.split() == SHIPPED
    assert (Path(profiles), Path(captures)) == (
        site / "usbwatch" / "_shipped" / "profiles",
        site / "usbwatch" / "_shipped" / "captures",
    )


def test_reading_a_good_profile_loads_no_fault_finder() -> None:
    """jsonschema is for wrong files; at import nothing heavy is loaded at all."""
    script = (
        "import sys, usbwatch.profile as p; heavy = {'msgspec', 'jsonschema', 'platformdirs', 'rich', 'deepdiff'}; "
        "print(*sorted(heavy & set(sys.modules))); p.find('generic-clamshell'); "
        "print(*sorted(heavy & set(sys.modules)))"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    environment.pop("USBWATCH_PROFILES", None)
    done = subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["", "msgspec platformdirs"]


def test_a_profile_says_which_file_it_is_from() -> None:
    profile = find("fernhill-larch-13")
    assert load(profile.path) == profile
