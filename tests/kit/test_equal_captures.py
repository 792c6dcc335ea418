"""The kit's collectors give the capture that the full program takes of the same tree, byte for byte.

The trees are a real kernel's (``tests/data/trees``), and invented laptops'.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.kits import PYTHON, SHELLS, by_full_program, collect, shells, stick_of
from support.units import HERON, LARCH, PLOVER

_Tree = Callable[..., Path]

TREES = sorted(path.name.partition(".")[0] for path in Path(__file__).parents[1].glob("data/trees/*.tar.xz"))
BUILT = {unit.dmi["product_name"]: unit for unit in (LARCH, HERON, PLOVER)}


@pytest.fixture(params=[*TREES, *BUILT, "all buses"])
def tree(request: pytest.FixtureRequest, real_tree: _Tree, built_tree: _Tree, full_tree: Path) -> Iterator[Path]:
    name = str(request.param)
    if name == "all buses":
        yield full_tree
    else:
        yield built_tree(BUILT[name]) if name in BUILT else real_tree(name)


@functools.cache
def expected(tree: Path) -> str:
    """The full program's capture of a tree, which no test changes."""
    return by_full_program(tree)


def test_the_trees_are_those_of_the_repository() -> None:
    assert len(TREES) >= 10


def test_the_python_file_captures_the_same(tree: Path, kit: Path, tmp_path: Path) -> None:
    stick = stick_of(kit, tmp_path / "stick")
    collect((*PYTHON, str(stick / "capture.py")), "--root", str(tree))
    (capture,) = stick.glob("*.json")
    assert capture.read_text("utf-8") == expected(tree)
    assert len(json.loads(capture.read_text("utf-8"))["nodes"]) > 80
    written = {path.name for path in stick.iterdir()} - {path.name for path in kit.iterdir()}
    assert written == {capture.name, capture.with_suffix(".txt").name}


def test_the_shell_script_gathers_the_same(tree: Path, kit: Path, tmp_path: Path) -> None:
    assert gathered(shells()[0], tree, kit, tmp_path) == expected(tree)


@pytest.mark.parametrize("shell", shells())
def test_every_shell_gathers_the_same(full_tree: Path, kit: Path, tmp_path: Path, shell: str) -> None:
    assert gathered(shell, full_tree, kit, tmp_path) == expected(full_tree)


def gathered(shell: str, tree: Path, kit: Path, folder: Path) -> str:
    """The capture that the full program reads out of what the script gathers of a tree."""
    stick = stick_of(kit, folder / "stick")
    collect((*SHELLS[shell], str(stick / "capture.sh")), "--shell", "--root", str(tree))
    (archive,) = stick.glob("*.tar")
    written = {path.name for path in stick.iterdir()} - {path.name for path in kit.iterdir()}
    assert written == {archive.name, archive.with_suffix(".txt").name}
    return by_full_program(archive)
