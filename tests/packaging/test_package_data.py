"""The files beside the modules are found where the package is installed, and where it runs from its sources.

Every file that is opened is noted (an audit hook, PEP 578) while the program does what needs such files; both must open
the same ones.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]

_NOTED = r"""
import json, os, sys
opened = set()
def note(event, arguments):
    if event == "open" and isinstance(arguments[0], (str, bytes)):
        opened.add(os.path.realpath(os.fsdecode(arguments[0])))
sys.addaudithook(note)
import contextlib, io
from usbwatch.cli import main
def ran(*arguments):
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()) as said:
        code = main(arguments)
    assert code in (0, 10, 11), (arguments, code, said.getvalue())
ran("demo")
ran("profile", "list")
ran("profile", "show", "fernhill-larch-13")
from usbwatch.profile import shipped
for folder in ("profiles", "captures"):
    for path in shipped(folder).iterdir():
        path.read_bytes()
capture = str(shipped("captures") / "larch-13-top-case-lost.json")
ran("report", capture, "--output", "report.html", "--picture", "unit.svg")
os.mkdir("kit")
ran("kit", "kit")
from pathlib import Path
from usbwatch.stick.root import add_init
add_init(Path("kit"))
from importlib.resources import files
for name in ("READ-ME.txt", "grub.cfg"):  # as stick/building.py reads them, once all packages are there
    files("usbwatch.stick").joinpath(name).read_bytes()
import usbwatch
package = os.path.dirname(os.path.realpath(usbwatch.__file__))
kept = {folder: os.path.realpath(shipped(folder)) for folder in ("profiles", "captures")}
print(json.dumps({"package": package, "kept": kept, "opened": sorted(opened)}))
"""


def _opened(path: Path, folder: Path, environment: dict[str, str]) -> set[str]:
    """Data files of ours that are opened, by their place in the package or among what is shipped."""
    folder.mkdir()
    done = subprocess.run(
        [sys.executable, "-c", _NOTED],
        cwd=folder,
        env={**environment, "PYTHONPATH": str(path), "PYTHONSAFEPATH": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout.splitlines()[-1])
    assert told["package"] == os.path.realpath(path / "usbwatch"), "another usbwatch ran"
    found = set()
    for one in told["opened"]:
        for name, place in {**told["kept"], "package": told["package"]}.items():
            if one.startswith(f"{place}{os.sep}") and not one.endswith((".py", ".pyc")):
                found.add(f"{name}/{os.path.relpath(one, place)}")
                break
    return found


def _data(package: Path) -> set[str]:
    """Files of a package that are no modules, but what only other programs look for."""
    files = (path for path in package.rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    return {
        str(path.relative_to(package))
        for path in files
        if path.suffix not in (".py", ".pyc") and path.name != "py.typed"
    }


def test_both_open_the_same_files_and_these_are_all_that_there_are(
    installed: Path, tmp_path: Path, nobody: dict[str, str]
) -> None:
    from_wheel = _opened(installed, tmp_path / "a", nobody)
    from_sources = _opened(ROOT, tmp_path / "b", nobody)
    assert from_wheel == from_sources
    shipped = {f"{kind}/{path.name}" for kind in ("profiles", "captures") for path in (ROOT / kind).iterdir()}
    assert from_sources == shipped | {f"package/{name}" for name in _data(ROOT / "usbwatch")}


def test_the_wheel_holds_what_the_sources_hold(installed: Path) -> None:
    inside = {name for name in _data(installed / "usbwatch") if not name.startswith("_shipped")}
    assert inside == _data(ROOT / "usbwatch")
    for kind in ("profiles", "captures"):
        for path in (ROOT / kind).iterdir():
            assert (installed / "usbwatch" / "_shipped" / kind / path.name).read_bytes() == path.read_bytes()
