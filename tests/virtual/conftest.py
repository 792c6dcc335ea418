"""What the emulated laptop is made from, and in which order its tests run."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.needs import needed_file, needed_tool
from virtual.build import TOOLS, Built, built, work_folder
from virtual.heron_14e import HERON_14E
from virtual.laptop import HEALTHY, Laptop, running
from virtual.own_disk import unfinished_disk
from virtual.stick_boot import FIRMWARE
from virtual.stick_boot import TOOLS as STICK_TOOLS

from usbwatch.errors import CannotBuild
from usbwatch.stick.building import Recipe, build_image

_HERE = Path(__file__).parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """On the laptops that tests share, what needs a log in which nothing has happened yet comes first.

    The scenarios, which overwrite it, come last.
    """
    order = {"test_virtual.py": 0, "test_scenarios.py": 2}
    items.sort(key=lambda item: order.get(item.path.name, 1) if item.path.parent == _HERE else -1)


@pytest.fixture(scope="session")
def work() -> Iterator[Path]:
    """A folder for large files, gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="usbwatch-virtual-", dir=work_folder()) as folder:
        yield Path(folder)


@pytest.fixture(scope="session")
def laptop_files(work: Path) -> Built:
    """What the emulator starts, built once."""
    for tool, package in TOOLS.items():
        needed_tool(tool, package)
    try:
        return built(work)
    except CannotBuild as error:
        if os.environ.get("CI"):
            raise
        pytest.skip(f"the emulated laptop cannot be built here: {error}")


_shared: list[Laptop] = []
"""Laptops that several tests use."""


@pytest.fixture(autouse=True)
def _at_rest() -> Iterator[None]:
    """Between tests the shared laptops stand still, so that one that is not needed takes no time from the others."""
    yield
    for laptop in _shared:
        laptop.machine.rest()


@contextmanager
def _sharing(laptop: Laptop) -> Iterator[Laptop]:
    _shared.append(laptop)
    try:
        yield laptop
    finally:
        _shared.remove(laptop)


@pytest.fixture(scope="session")
def healthy_laptop(laptop_files: Built, work: Path) -> Iterator[Laptop]:
    """A healthy laptop that several tests use; a test that changes it changes it back."""
    folder = work / "healthy"
    folder.mkdir()
    with running(laptop_files, HEALTHY, folder) as laptop, _sharing(laptop):
        yield laptop


@pytest.fixture(scope="session")
def healthy_heron(laptop_files: Built, work: Path) -> Iterator[Laptop]:
    """The same of the second layout."""
    folder = work / "healthy-heron"
    folder.mkdir()
    with running(laptop_files, HEALTHY, folder, HERON_14E) as laptop, _sharing(laptop):
        yield laptop


@pytest.fixture(scope="session")
def stick_tools() -> Iterator[None]:
    """What the tests of the stick need; some of it is not on every user's path."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PATH", f"{os.environ['PATH']}:/usr/sbin:/sbin")
        for tool, package in {**TOOLS, **STICK_TOOLS}.items():
            needed_tool(tool, package)
        needed_file((str(FIRMWARE),), "ovmf")
        yield


@pytest.fixture(scope="session")
def stick_image(work: Path, stick_tools: None) -> Path:  # noqa: ARG001 - the tools have to be there
    """An image of the bench stick with the profiles of the emulated models, built once; it must not be written to."""
    profiles = {path.name: path.read_text("utf-8") for path in (Path(__file__).parent / "profiles").glob("*.toml")}
    try:
        build_image(work / "stick.img", Recipe(profiles=profiles))
    except CannotBuild as error:
        if os.environ.get("CI"):
            raise
        pytest.skip(f"the stick cannot be built here: {error}")
    return work / "stick.img"


@pytest.fixture
def own_disk(stick_tools: None, tmp_path: Path) -> Path:  # noqa: ARG001
    """The disk of a unit that was switched off in the middle of its work."""
    return unfinished_disk(tmp_path / "own-disk", tmp_path / "scratch")
