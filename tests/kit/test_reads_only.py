"""What the collectors open and change, as strace saw it: nothing but their own files beside themselves.

The shell script besides that has a folder in memory, and the programs that it starts.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from support.kits import PLAIN_PYTHON, SHELLS, collect, shells, stick_of
from support.needs import needed_tool
from support.system_calls import TRACED, WITH_SIDE_EFFECTS, changes, opened, written_to

_Tree = Callable[..., Path]

_HARMLESS = re.compile(
    # Python asks of a file that it opens whether it is a terminal.
    r"ioctl\(\d+<[^>]*>, TCGETS, "
    # It sees to it that no child inherits its own file.
    r"|ioctl\(\d+<[^>]*/capture\.py>, FIOCLEX\)"
    r"|execve\(\"[^\"]*python"
)
_IN_FOLDER = r'(?:write\(\d+<{0}/|rename\("{0}/[^"]*", "{0}/)'
_WORKING_FOLDER = re.compile(r"AT_FDCWD<[^>]*>")
_TALK = re.compile(r"write\([12]<(?:pipe|/dev/null)")


def _trace(path: Path, command: list[str], *arguments: str) -> list[str]:
    tracer = needed_tool("strace", "strace")
    options = ["-f", "-qq", "-y", "-s", "4096", "-e", f"trace={TRACED}", "-o", str(path)]
    collect([tracer, *options, *command], *arguments)
    calls = (_WORKING_FOLDER.sub("AT_FDCWD", line) for line in path.read_text(errors="replace").splitlines())
    return [line for line in calls if "= -1 " not in line]


@pytest.mark.parametrize("where", ["this machine", "a real kernel's tree"])
def test_the_python_file_writes_beside_itself_alone(kit: Path, real_tree: _Tree, tmp_path: Path, where: str) -> None:
    stick = stick_of(kit, tmp_path / "stick").resolve()
    root = [] if where == "this machine" else ["--root", str(real_tree("healthy"))]
    calls = _trace(tmp_path / "trace", [PLAIN_PYTHON, str(stick / "capture.py"), "--wait", "0"], *root)

    assert {path.suffix for path in stick.iterdir() if "20" in path.name} == {".json", ".txt"}
    written = [path for path, _ in written_to(opened(calls))]
    assert len(written) == 2
    assert all(Path(path).parent == stick for path in written)
    ours = re.compile(_IN_FOLDER.format(re.escape(str(stick))))
    strange = [
        line for line in changes(calls) if not (ours.search(line) or _HARMLESS.search(line) or _TALK.search(line))
    ]
    assert strange == []
    assert [path for path, _ in opened(calls) if WITH_SIDE_EFFECTS.search(path)] == []


def test_nothing_is_imported_from_the_stick(kit: Path, real_tree: _Tree, tmp_path: Path) -> None:
    """A stick may hold anything, also a file that is called like a module of Python's."""
    stick = stick_of(kit, tmp_path / "stick")
    for name in ("json", "hashlib", "argparse", "dataclasses", "usbwatch", "queue"):
        (stick / f"{name}.py").write_text("raise SystemExit('imported from the stick')\n")
    before = {path.name for path in stick.iterdir()}
    collect([PLAIN_PYTHON, "capture.py"], "--root", str(real_tree("healthy")), cwd=stick)
    assert "__pycache__" not in {path.name for path in stick.iterdir()}
    assert len({path.name for path in stick.iterdir()} - before) == 2


@pytest.mark.parametrize("where", ["this machine", "a real kernel's tree"])
def test_the_shell_script_opens_only_what_a_capture_may(
    kit: Path, real_tree: _Tree, tmp_path: Path, where: str
) -> None:
    """The real tree has the files that a copy must not touch: ``power/level``, a port's ``disable``, and others."""
    stick = stick_of(kit, tmp_path / "stick").resolve()
    root = [] if where == "this machine" else ["--root", str(real_tree("healthy"))]
    shell = SHELLS[shells()[0]]
    calls = _trace(tmp_path / "trace", [*shell, str(stick / "capture.sh"), "--shell", "--wait", "0"], *root)

    files = opened(calls)
    inside = (str(stick), "/dev/shm/usbwatch.", "/run/usbwatch.", "/tmp/usbwatch.", "/dev/null")
    # dash opens what a here-document comes from; a terminal's name is asked for by nobody.
    outside = [path for path, _ in written_to(files) if path.startswith("/") and not path.startswith(inside)]
    assert outside == []
    asked = [path for path, _ in files if not path.startswith(inside)]
    assert [path for path in asked if WITH_SIDE_EFFECTS.search(path)] == []
    assert len(asked) > 50
    assert not [path for folder in ("/dev/shm", "/run", "/tmp") for path in Path(folder).glob("usbwatch.??????")]
