"""Which libraries go along: those that Python would take here, in the version that it would take."""

from __future__ import annotations

import importlib.metadata
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from usbwatch.errors import CannotBuild
from usbwatch.stick.libraries import compile_all, pinned, requirements


def installed(folder: Path, name: str, version: str) -> None:
    """A library as an installer leaves it (PyPA, "Recording installed projects"), of its metadata alone."""
    place = folder / f"{name}-{version}.dist-info"
    place.mkdir(parents=True)
    (place / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n")


def test_of_a_library_that_is_there_twice_the_one_that_is_imported_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    installed(tmp_path / "own", "invented_part", "2.0")
    installed(tmp_path / "system", "Invented.Part", "1.0")
    monkeypatch.setattr(sys, "path", [str(tmp_path / "own"), str(tmp_path / "system"), *sys.path])
    assert [one for one in pinned() if one.startswith("invented")] == ["invented-part==2.0"]
    assert importlib.metadata.version("invented_part") == "2.0"


def test_sources_that_were_never_installed_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "path", [str(tmp_path)])
    with pytest.raises(CannotBuild, match="usbwatch runs from its sources"):
        requirements()


def test_a_python_that_compiles_nothing_is_told(tmp_path: Path) -> None:
    loader = tmp_path / "lib64" / "ld-linux-x86-64.so.2"
    for program in (loader, tmp_path / "usr" / "bin" / "python3.11"):
        program.parent.mkdir(parents=True)
        program.write_text("#!/bin/sh\necho no >&2\nexit 1\n")
        program.chmod(0o755)
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "one.py").write_text("ONE = 1\n")
    with pytest.raises(CannotBuild, match=r"compiles nothing here \(no\)"):
        compile_all(tmp_path, [tmp_path / "own"])


def test_the_builder_runs_with_the_oldest_python_that_usbwatch_runs_with(tmp_path: Path) -> None:
    """By vermin, which knows the version of each argument: Debian 12 has Python 3.11.2, this may be a later 3.11."""
    builder = Path(str(files("usbwatch.stick")))
    assert vermin(builder) == 0
    (tmp_path / "later.py").write_text('import shutil\nshutil.unpack_archive("a", "b", "tar", filter="data")\n')
    assert vermin(tmp_path) == 1


def vermin(folder: Path) -> int:
    command = [sys.executable, "-c", "from vermin import main; main()", "--no-tips", "-t=3.11-", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    sys.stdout.write(done.stdout)  # what it found, when the test fails
    return done.returncode
