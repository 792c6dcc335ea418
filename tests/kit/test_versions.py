"""The collector needs CPython 3.8 or later, and the standard library alone.

Checked by vermin, which knows from which version on each feature and each
name of the standard library is there, by CPython's own parser for the grammar
of 3.8, and by running it with every other Python that is here.
"""

from __future__ import annotations

import ast
import dataclasses
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.kits import by_full_program, collect, stick_of

from usbwatch.kit.bundle import bundled, needed
from usbwatch.kit.importing import tolerant_dataclass

_Tree = Callable[..., Path]

MODULES = needed()

_NOT_NEEDED = re.compile(
    r"usbwatch\.capture\.(saved|portable|watching|watched_nodes|signs)|usbwatch\.model\.(profile|findings|suspects|plan)"
)
"""What a capture can be taken without."""


def test_only_what_a_capture_needs_is_in_it() -> None:
    assert {"usbwatch.capture.look", "usbwatch.capture.log.survey", "usbwatch.kit.collecting"} <= MODULES.keys()
    assert [name for name in MODULES if _NOT_NEEDED.match(name)] == []
    assert {name.split(".")[1] for name in MODULES if "." in name} == {
        *("capture", "errors", "kit", "lazy", "model", "safe")
    }


@pytest.mark.parametrize("name", MODULES)
def test_a_module_is_of_the_grammar_of_3_8(name: str) -> None:
    ast.parse(MODULES[name], feature_version=(3, 8))


def test_the_file_itself_is_of_the_grammar_of_3_8() -> None:
    ast.parse(bundled(), feature_version=(3, 8))


def test_nothing_in_it_is_newer_than_3_8(tmp_path: Path) -> None:
    """The one exception is what ``tolerant_dataclass`` takes care of."""
    for name, source in MODULES.items():
        (tmp_path / f"{name}.py").write_text(source, encoding="utf-8")
    assert (
        vermin(tmp_path, "--exclude", "dataclasses.dataclass(kw_only)", "--exclude", "dataclasses.dataclass(slots)")
        == 0
    )
    assert vermin(tmp_path) == 1  # so that it does look at what it is not told to leave out


def vermin(folder: Path, *arguments: str) -> int:
    script = "from vermin import main; main()"
    command = [sys.executable, "-c", script, "--no-tips", "--no-parse-comments", "-t=3.8-", *arguments, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    sys.stdout.write(done.stdout)  # what it found, when the test fails
    return done.returncode


def test_it_imports_the_standard_library_alone() -> None:
    imported = set()
    for source in MODULES.values():
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.Import):
                imported |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0
                imported.add(str(node.module).partition(".")[0])
    assert imported - {"usbwatch"} <= sys.stdlib_module_names
    # Modules that were taken out of the standard library later (PEP 594), or are not on every system.
    assert not imported & {"cgi", "crypt", "imp", "distutils", "asyncore", "curses", "termios", "fcntl", "resource"}


def test_data_classes_are_made_where_dataclass_knows_neither_slots_nor_kw_only() -> None:
    def of_3_8(cls: type, **options: bool) -> type:
        assert not options.keys() & {"slots", "kw_only", "match_args", "weakref_slot"}
        return dataclasses.dataclass(cls, **options)

    tolerant: Any = tolerant_dataclass(of_3_8)

    @tolerant(frozen=True, slots=True, kw_only=True)
    class Part:
        name: str
        facts: dict[str, int] = dataclasses.field(default_factory=dict)
        number: int = 0
        place: str
        seen: bool = dataclasses.field(repr=False)

    part: Any = Part
    made = part(name="a", place="b", seen=True)
    assert (made.name, made.facts, made.number, made.place, made.seen) == ("a", {}, 0, "b", True)
    assert made == part(seen=True, place="b", name="a")
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.name = "c"
    with pytest.raises(TypeError):
        part(name="a")


def test_no_data_class_of_it_inherits_from_another() -> None:
    """Fields of a parent would come first, with their defaults, which Python before 3.10 refuses."""
    for source in MODULES.values():
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.ClassDef) and any("dataclass" in ast.dump(one) for one in node.decorator_list):
                assert node.bases == []


_OLD = re.compile(r"(?:[0-2]|3\.[0-7])(?:\.|$)")


def pythons(*, older: bool = False) -> dict[str, Path]:
    """Every Python of version 3.8 or later (or each older one) that is here, by what its folder or name says."""
    pyenv = Path(os.environ.get("PYENV_ROOT") or Path.home() / ".pyenv")
    found = {path.parts[-3]: path for path in pyenv.glob("versions/*/bin/python3")}
    for name in ("python3", "pypy3", *(f"python3.{minor}" for minor in range(8, 20))):
        path = shutil.which(name)
        if path and "shims" not in Path(path).parts:
            found[name] = Path(path)
    return {name: path for name, path in found.items() if bool(_OLD.match(name)) == older}


PYTHONS = {**pythons(), "this one": Path(sys.executable)}


@pytest.mark.parametrize("name", PYTHONS)
def test_every_python_here_takes_the_same_capture(name: str, kit: Path, real_tree: _Tree, tmp_path: Path) -> None:
    stick = stick_of(kit, tmp_path / "stick")
    collect((str(PYTHONS[name]), "-I", str(stick / "capture.py")), "--root", str(real_tree("external-devices")))
    (capture,) = stick.glob("*.json")
    assert capture.read_text("utf-8") == by_full_program(real_tree("external-devices"))


def test_an_older_python_is_told_so() -> None:
    """The first lines, as a Python of another version would run them: they are of the grammar of any version 3."""
    head = bundled().partition("sys.dont_write_bytecode")[0]
    script = f"import sys\nsys.version_info, sys.version = (3, 6, 9), '3.6.9 (old)'\n{head}"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr == "usbwatch: this needs Python 3.8 or later, and here is 3.6.9; run: sh capture.sh\n"


def test_the_older_pythons_that_are_here_are_told_so(kit: Path) -> None:
    """The whole file, with every Python before 3.8 that is here; there need be none."""
    for name, python in pythons(older=True).items():
        done = subprocess.run([python, kit / "capture.py"], capture_output=True, text=True, check=False)
        assert (done.returncode, done.stdout) == (3, ""), name
        assert done.stderr.startswith("usbwatch: this needs Python 3.8 or later, and here is "), name
    assert not (kit / "__pycache__").exists()


def test_an_error_of_ours_shows_the_line_that_it_came_from(kit: Path, tmp_path: Path) -> None:
    """A technician who sends a traceback sends the line with it."""
    stick = stick_of(kit, tmp_path / "stick")
    script = (
        f"import runpy; runpy.run_path({str(stick / 'capture.py')!r}); "
        "from usbwatch.kit import collecting; collecting._run = lambda *a: collecting.summary(1, ''); "
        "raise SystemExit(collecting.main([], 'x'))"
    )
    environ = {**os.environ, "USBWATCH_DEBUG": "1"}
    done = subprocess.run(
        [sys.executable, "-I", "-c", script], capture_output=True, text=True, check=False, env=environ
    )
    assert done.returncode == 1
    assert (
        "lines = [line for paragraph in _paragraphs(capture, file_name, command) for line in paragraph]" in done.stderr
    )
    assert done.stderr.splitlines()[-1].startswith("usbwatch: this is a bug in usbwatch itself: AttributeError: ")
