"""The wheel, looked at and used as by somebody who installed it: names, metadata, and the program with an empty home.

The formats are those of the Python Packaging Authority: wheel (PEP 427), core metadata 2.4 (PEP 639), entry points.
"""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import subprocess
import sys
import tarfile
import zipfile
from configparser import ConfigParser
from pathlib import Path

import pytest
from packaging.metadata import Metadata
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import parse_wheel_filename
from support.licences import declared
from support.needs import needed_file

import usbwatch

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def about(installed: Path) -> Metadata:
    (folder,) = installed.glob("*.dist-info")
    return Metadata.from_email((folder / "METADATA").read_bytes())  # raises for whatever the standard does not allow


def test_it_is_of_pure_python_for_every_system(wheel: Path) -> None:
    name, version, _, tags = parse_wheel_filename(wheel.name)
    assert (name, str(version)) == ("usbwatch", usbwatch.__version__)
    assert {str(tag) for tag in tags} == {"py3-none-any"}


def test_it_holds_the_package_and_nothing_else(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    assert {name.split("/")[0] for name in names} == {"usbwatch", f"usbwatch-{usbwatch.__version__}.dist-info"}
    assert not [name for name in names if "__pycache__" in name or "/test" in name or "benchmark" in name]
    modules = {str(path.relative_to(ROOT)) for path in (ROOT / "usbwatch").rglob("*.py")}
    assert {name for name in names if name.endswith(".py")} == modules
    assert "usbwatch/py.typed" in names


def test_its_record_tells_every_file_with_its_digest(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        (record,) = (name for name in archive.namelist() if name.endswith("/RECORD"))
        rows = list(csv.reader(io.StringIO(archive.read(record).decode())))
        assert sorted(name for name, _, _ in rows) == sorted(archive.namelist())
        for name, digest, _ in rows:
            if name != record:
                made = base64.urlsafe_b64encode(hashlib.sha256(archive.read(name)).digest()).rstrip(b"=").decode()
                assert digest == f"sha256={made}"


def test_its_metadata_says_what_it_needs(about: Metadata) -> None:
    assert about.license_expression == "Apache-2.0"
    assert about.license_files == ["LICENSE"]
    assert about.requires_python == SpecifierSet(">=3.11")
    assert "Programming Language :: Python :: 3.11" in (about.classifiers or [])
    assert about.provides_extra == ["live", "portable", "postgres"]
    needs = about.requires_dist or []
    to_run = {str(need) for need in needs if need.marker is None}
    assert to_run == {str(need) for need in declared()[0].needs}
    assert all(need.specifier for need in needs), "a need without a lowest version"
    assert about.description_content_type == "text/markdown"


def test_every_need_has_a_lowest_version_and_no_highest() -> None:
    """A program that others install beside it may not hold them back."""
    for use in declared()[:4]:
        for need in use.needs:
            assert isinstance(need, Requirement)
            assert [one.operator for one in need.specifier] == [">="]


def test_its_one_command_is_the_program(installed: Path) -> None:
    (folder,) = installed.glob("*.dist-info")
    entries = ConfigParser()
    entries.read_string((folder / "entry_points.txt").read_text("utf-8"))
    assert {section: dict(entries[section]) for section in entries.sections()} == {
        "console_scripts": {"usbwatch": "usbwatch.cli:main"}
    }


@pytest.mark.parametrize(
    ("arguments", "said"),
    [(["--version"], f"usbwatch, version {usbwatch.__version__}"), (["profile", "list"], "fernhill-larch-13")],
    ids=["version", "profiles"],
)
def test_it_runs_from_another_folder_with_an_empty_home(
    installed: Path, tmp_path: Path, nobody: dict[str, str], arguments: list[str], said: str
) -> None:
    begun = [sys.executable, "-P", "-c", "import sys; from usbwatch.cli import main; sys.exit(main())", *arguments]
    done = subprocess.run(
        begun, cwd=tmp_path, env={**nobody, "PYTHONPATH": str(installed)}, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert said in done.stdout
    assert list((tmp_path / "home").iterdir()) == [], "it made something in the home of who only looked"


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_is_given_its_completion(
    installed: Path, tmp_path: Path, nobody: dict[str, str], shell: str
) -> None:
    """As click documents it: the variable named for the command, and the command itself."""
    begun = [sys.executable, "-P", "-c", "import sys; from usbwatch.cli import main; sys.exit(main())"]
    environment = {**nobody, "PYTHONPATH": str(installed), "_USBWATCH_COMPLETE": f"{shell}_source"}
    done = subprocess.run(begun, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "_USBWATCH_COMPLETE" in done.stdout


def test_the_sdist_holds_all_that_its_own_tests_need(sdist: Path) -> None:
    """What git has, so that whoever packages it can build, test and read it: tests, data, docs, benchmarks, CI."""
    needed_file((str(ROOT / ".git"),), "a clone of the repository")
    with tarfile.open(sdist) as archive:
        inside = {name.partition("/")[2] for name in archive.getnames()}
    known = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split("\n")
    assert {name for name in known if name and (ROOT / name).exists()} - inside == set()
    assert not [name for name in inside if "__pycache__" in name or name.startswith("build/")]
