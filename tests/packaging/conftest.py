"""The wheel and the sdist of these sources, built once, without a network: the back end is a development dependency."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

__all__: list[str] = []

ROOT = Path(__file__).parents[2]


def _built(kind: str, folder: Path) -> Path:
    """What the back end makes of the sources, by its own interface (PEP 517), which pip uses, too."""
    asked = f"import hatchling.build as b, sys; print(b.build_{kind}(sys.argv[1]))"
    done = subprocess.run(
        [sys.executable, "-c", asked, str(folder)], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return folder / done.stdout.split()[-1]


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file."""
    return _built("wheel", tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="session")
def sdist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file."""
    return _built("sdist", tmp_path_factory.mktemp("sdist"))


@pytest.fixture(scope="session")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that a wheel of pure Python is unpacked to when it is installed (PEP 427)."""
    folder = tmp_path_factory.mktemp("site")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


@pytest.fixture
def nobody(tmp_path: Path) -> dict[str, str]:
    """The environment of a user who has an empty home, and no variable of ours."""
    home = tmp_path / "home"
    home.mkdir()
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("USBWATCH", "XDG", "PYTHON"))}
    return kept | {"HOME": str(home), "PYTHONDONTWRITEBYTECODE": "1"}
