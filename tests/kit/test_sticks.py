"""Sticks that are full, write-protected or pulled out; systems that are no Linux or show no sysfs; odd units."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.kits import PLAIN_PYTHON, PYTHON, SHELLS, by_full_program, collect, shells, stick_of
from support.needs import needed_tool
from support.sysfs import build
from support.units import LARCH

from usbwatch.capture import ArchiveTree, load
from usbwatch.cli.taking import taken
from usbwatch.errors import UnwritableOutput
from usbwatch.kit import collecting
from usbwatch.kit.sticks import write_new

_Tree = Callable[..., Path]
SHELL = SHELLS[shells()[0]]


@pytest.fixture
def stick(kit: Path) -> Iterator[Path]:
    """A stick that every user can reach, as the tests' own folder may not be."""
    folder = Path(tempfile.mkdtemp(prefix="kit-test-"))
    yield stick_of(kit, folder / "stick")
    folder.chmod(0o700)
    shutil.rmtree(folder)


def commands(stick: Path) -> dict[str, tuple[str, ...]]:
    return {"python": (*PYTHON, str(stick / "capture.py")), "shell": (*SHELL, str(stick / "capture.sh"), "--shell")}


def one_sentence(said: str) -> str:
    """The complaint, which must be one line that ends as a sentence does, and no traceback."""
    assert "Traceback" not in said
    (complaint,) = [line for line in said.splitlines() if line.startswith("usbwatch: ")]
    assert complaint.endswith((".", "?"))
    assert said.splitlines()[-1] == complaint
    return complaint


@pytest.mark.parametrize("way", ["python", "shell"])
def test_a_full_stick(way: str, stick: Path, real_tree: _Tree) -> None:
    """Full: a limit on the size of a file (setrlimit(2)) answers in the middle of writing, as a full disk does."""
    import resource

    most = {"python": 8_000, "shell": 200_000}[way]

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    before = sorted(stick.iterdir())
    said = collect(commands(stick)[way], "--root", str(real_tree("healthy")), code=3, preexec_fn=limited)
    assert "cannot be" in one_sentence(said)
    assert sorted(stick.iterdir()) == before


@pytest.mark.parametrize("way", ["python", "shell"])
def test_a_write_protected_stick(way: str, stick: Path, small_tree: Path, tmp_path: Path) -> None:
    """strace answers for the kernel: a file system that is mounted for reading alone gives EROFS (access(2))."""
    said = refused_by_the_system("EROFS", way, stick, small_tree, tmp_path)
    assert "may not be written to (Read-only file system); move its write-protect switch" in said


@pytest.mark.parametrize("way", ["python", "shell"])
def test_a_folder_of_another_user_is_no_write_protected_stick(
    way: str, stick: Path, small_tree: Path, tmp_path: Path
) -> None:
    said = refused_by_the_system("EACCES", way, stick, small_tree, tmp_path)
    assert "may not be written to (Permission denied); run this as root" in said
    assert "write-protect" not in said


def refused_by_the_system(error: str, way: str, stick: Path, tree: Path, folder: Path) -> str:
    """The complaint when the kernel answers so to whoever asks for leave to write, and to whoever makes a folder."""
    calls = "?access,?faccessat,?faccessat2,?mkdir,?mkdirat"
    inject = tracing(folder, f"inject={calls}:error={error}")
    before = sorted(stick.iterdir())
    said = one_sentence(collect([*inject, *plain_commands(stick)[way]], "--root", str(tree), code=3))
    assert sorted(stick.iterdir()) == before
    return said


@pytest.mark.parametrize("way", ["python", "shell"])
@pytest.mark.parametrize("named", ["out", "out/", "./out"])
def test_a_folder_is_written_into(way: str, named: str, stick: Path, real_tree: _Tree, tmp_path: Path) -> None:
    (tmp_path / named).mkdir()
    before = sorted(stick.iterdir())
    said = collect(commands(stick)[way], "--root", str(real_tree("healthy")), "-o", named, cwd=tmp_path)
    made = sorted(path.name for path in (tmp_path / named).iterdir())
    assert len(made) == 2
    assert all(name.startswith("larch-13-") for name in made)
    assert f"usbwatch check {'--root ' if way == 'shell' else ''}{made[0]}" in said
    assert sorted(stick.iterdir()) == before
    assert [path.name for path in tmp_path.iterdir() if path.is_dir() and "out" in path.name] == [Path(named).name]


@pytest.mark.parametrize("way", ["python", "shell"])
def test_a_folder_that_is_not_there_is_not_made(way: str, stick: Path, small_tree: Path, tmp_path: Path) -> None:
    said = collect(commands(stick)[way], "--root", str(small_tree), "-o", "nowhere/", cwd=tmp_path, code=3)
    assert "no folder that is there" in one_sentence(said)
    assert not (tmp_path / "nowhere").exists()


def tracing(folder: Path, what: str, *more: str) -> list[str]:
    """The beginning of a command whose system calls strace answers in part."""
    return [needed_tool("strace", "strace"), "-f", "-qq", "-o", str(folder / "trace"), "-e", what, *more]


def plain_commands(stick: Path) -> dict[str, tuple[str, ...]]:
    """Those of ``commands`` with a Python that checks nothing besides."""
    return {**commands(stick), "python": (PLAIN_PYTHON, str(stick / "capture.py"))}


@pytest.fixture
def small_tree(real_tree: _Tree, tmp_path: Path) -> Path:
    """Of a real kernel's tree the model's strings alone."""
    root = tmp_path / "small"
    for folder in ("sys/class/dmi", "sys/devices/virtual/dmi"):
        shutil.copytree(real_tree("healthy") / folder, root / folder, symlinks=True)
    return root


def test_a_stick_that_is_pulled_before_the_capture_is_safe(stick: Path, real_tree: _Tree, tmp_path: Path) -> None:
    """The kernel's own answer on a device that has gone is EIO; strace gives it in its place at the first fsync."""
    inject = tracing(tmp_path, "inject=fsync:error=EIO:when=1")
    before = sorted(stick.iterdir())
    said = collect([*inject, *plain_commands(stick)["python"]], "--root", str(real_tree("healthy")), code=3)
    assert "was the stick pulled out" in one_sentence(said)
    assert sorted(stick.iterdir()) == before


def test_a_stick_that_is_pulled_as_the_capture_gets_its_name_is_safe(
    stick: Path, real_tree: _Tree, tmp_path: Path
) -> None:
    inject = tracing(tmp_path, "inject=fsync:error=EIO:when=2")
    before = sorted(stick.iterdir())
    said = collect([*inject, *plain_commands(stick)["python"]], "--root", str(real_tree("healthy")), code=3)
    assert "was the stick pulled out" in one_sentence(said)
    assert sorted(stick.iterdir()) == before


def test_what_was_saved_before_a_stick_was_pulled_stays(stick: Path, real_tree: _Tree, tmp_path: Path) -> None:
    """The capture comes first: three calls of fsync, of its file before and after it gets its name, of its folder."""
    inject = tracing(tmp_path, "inject=fsync:error=EIO:when=4+")
    said = collect([*inject, *plain_commands(stick)["python"]], "--root", str(real_tree("healthy")), code=3)
    assert ".txt" in one_sentence(said)
    (saved,) = stick.glob("*.json")
    assert saved.read_text("utf-8") == by_full_program(real_tree("healthy"))


def test_older_captures_stay(stick: Path, small_tree: Path) -> None:
    for command, ending in ((commands(stick)["python"], "json"), (commands(stick)["shell"], "tar")):
        for _ in range(3):
            collect(command, "--root", str(small_tree), "-o", str(stick / f"{ending}.{ending}"))
        expected = {f"{ending}{number}.{kind}" for number in ("", "-2", "-3") for kind in (ending, "txt")}
        assert {path.name for path in stick.glob(f"{ending}*")} == expected


def test_names_and_links_that_are_taken_are_never_followed(tmp_path: Path) -> None:
    target = tmp_path / "precious"
    target.write_text("keep")
    (tmp_path / "a.json").symlink_to(target)
    (tmp_path / "a-2.json").symlink_to(tmp_path / "nowhere")
    assert write_new(str(tmp_path / "a.json"), b"{}") == str(tmp_path / "a-3.json")
    assert target.read_text() == "keep"
    with pytest.raises(UnwritableOutput, match="pulled out"):
        write_new(str(tmp_path / "gone" / "a.json"), b"{}")


@pytest.mark.parametrize("way", ["python", "shell"])
def test_the_files_are_named_for_model_and_time(way: str, stick: Path, real_tree: _Tree) -> None:
    collect(commands(stick)[way], "--root", str(real_tree("healthy")))
    (name,) = [path.name for path in stick.iterdir() if path.suffix in (".json", ".tar")]
    assert re.fullmatch(r"larch-13-\d{4}-\d\d-\d\d-\d{6}\.(json|tar)", name)


@pytest.mark.parametrize("system", ["darwin", "win32", "linux"])
def test_no_linux_and_no_sysfs(
    system: str, stick: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "platform", system)
    monkeypatch.setattr(os.path, "isdir", lambda path: not str(path).startswith("/sys"))
    before = sorted(stick.iterdir())
    assert collecting.main(["--wait", "0"], str(stick / "capture.py")) == 3
    assert ("there is no /sys here" if system == "linux" else f"this system is {system}") in one_sentence(
        capsys.readouterr().err
    )
    assert sorted(stick.iterdir()) == before


def test_wrong_options(stick: Path, tmp_path: Path) -> None:
    for command in commands(stick).values():
        for wrong in (["--wait", "soon"], ["--wait", "99999"], ["--nonsense"], ["--wait"]):
            collect(command, *wrong, code=2)
        collect(command, "--root", str(tmp_path / "nowhere"), code=3)
        collect(command, "--root", str(tmp_path), code=3)


HOSTILE = ("hid-a\nb", "hid-$(touch pwned)`x`", "hid-*[x]?", "hid-'\"\\ ;&|", "-rf", "hid-\x1b[2J")


def test_hostile_names_do_not_break_the_script(stick: Path, tmp_path: Path) -> None:
    """What names a battery behind HID is a string of the device: line breaks, quotes, patterns, escapes, commands."""
    root = build(LARCH, tmp_path / "unit")
    supply = root / "sys/class/power_supply"
    folder = next(path.resolve() for path in supply.iterdir() if path.is_symlink())
    for number, name in enumerate(
        ("hid-a\nb", "hid-$(touch pwned)`x`", "hid-*[x]?", "hid-'\"\\ ;&|", "-rf", "hid-\x1b[2J")
    ):
        device = folder.parent / name
        shutil.copytree(folder, device, symlinks=True)
        (device / "serial_number").unlink(missing_ok=True)
        (device / "serial_number").write_text(f"LG-000{number}-DEMO\n")
        (supply / name).symlink_to(os.path.relpath(device, supply))
    collect(commands(stick)["shell"], "--root", str(root), "-o", str(stick / "odd.tar"), cwd=tmp_path)
    assert by_full_program(stick / "odd.tar") == by_full_program(root)
    assert by_full_program(root).count("-DEMO") > 6
    assert not list(tmp_path.rglob("pwned"))
    assert not list(stick.rglob("pwned"))


@pytest.mark.parametrize("error", ["EIO", "EACCES", "EBUSY", "ENODEV"])
def test_what_cannot_be_read_is_noted_and_counts_as_in_a_live_look(
    error: str, stick: Path, small_tree: Path, tmp_path: Path
) -> None:
    """strace answers for the kernel on every read of one file, to the script's programs and to the full program."""
    root = small_tree.resolve()
    real = str((root / "sys/class/dmi/id/product_serial").resolve())
    inject = tracing(tmp_path, f"inject=read:error={error}", "-P", real)
    for way, ending in (("shell", "tar"), ("python", "json")):
        command = [*inject, *plain_commands(stick)[way]]
        collect(command, "--root", str(root), "-o", str(stick / f"a.{ending}"))
    with tarfile.open(stick / "a.tar") as archive:
        member = archive.extractfile("meta/unread.txt")
        assert member is not None
        noted = member.read().decode().splitlines()
    assert [line.partition("\t")[0] for line in noted] == [real[len(str(root)) + 1 :]]
    made = taken(str(stick / "a.tar"), None)
    assert made == load(str(stick / "a.json"))
    unread = next(one for one in made.coverage if one.bus == "dmi").unread
    assert unread == (0 if error == "ENODEV" else 1)
    assert ArchiveTree(str(stick / "a.tar")).list("sys/devices/virtual/dmi/id")


def test_a_log_that_never_ends_is_not_waited_for(stick: Path, tmp_path: Path) -> None:
    """A device that comes and goes writes a record now and then: the wait ends all the same, and the log is there.

    The script's own lines, on a file that grows at every look at it; nothing in the test tells it to stop.
    """
    script = (stick / "capture.sh").read_text()
    loop = script[script.index("	before=-1") : script.index("	if kill")]
    assert loop.rstrip().endswith("done")
    log = tmp_path / "log"
    log.write_text("")
    growing = f'log={log}\nwc() {{ echo record >>"$log"; command wc "$@"; }}\nsleep() {{ :; }}\n{loop}'
    collect(["timeout", "60", *SHELL, "-c", growing])
    assert 2 < len(log.read_text().splitlines()) <= 26


def test_no_name_that_others_can_foresee_is_written_to(stick: Path, small_tree: Path, tmp_path: Path) -> None:
    """What the script opens for writing, as strace saw it, lies in folders that mktemp(1) made for it alone."""
    trace = tmp_path / "trace"
    tracer = [needed_tool("strace", "strace"), "-f", "-qq", "-y", "-e", "trace=openat,open,creat", "-o", str(trace)]
    collect([*tracer, *commands(stick)["shell"]], "--root", str(small_tree), "-o", str(stick / "a.tar"))
    calls = [line for line in trace.read_text(errors="replace").splitlines() if re.search(r"O_CREAT|creat\(", line)]
    made = [re.search(r'"([^"]*)"', line) for line in calls]
    inside = re.compile(
        r"/(?:dev/shm|run|tmp)/usbwatch\.\w{6}/|" + re.escape(str(stick.resolve())) + r"/\.usbwatch-\w{6}/"
    )
    strange = {
        found.group(1)
        for line, found in zip(calls, made, strict=True)
        if found and found.group(1) != "/dev/null" and not inside.search(line)
    }
    assert strange == set()
    assert any(".usbwatch-" in line for line in calls)
    assert sorted(path.name for path in stick.iterdir() if path.name.startswith((".", "a"))) == ["a.tar", "a.txt"]


def test_a_link_in_place_of_a_file_of_ours_is_not_followed(stick: Path, small_tree: Path, tmp_path: Path) -> None:
    (stick / "a.txt").symlink_to(tmp_path / "elsewhere")
    collect(commands(stick)["shell"], "--root", str(small_tree), "-o", str(stick / "a.tar"))
    assert not (tmp_path / "elsewhere").exists()
    assert {path.name for path in stick.glob("a*")} == {"a.txt", "a-2.tar", "a-2.txt"}


@pytest.mark.parametrize("shell", shells())
def test_a_wait_with_zeros_is_a_number_like_any(shell: str, stick: Path, small_tree: Path) -> None:
    """08 is no octal number (POSIX.1-2017, Shell Arithmetic Expansion); an hour is the longest."""
    command = (*SHELLS[shell], str(stick / "capture.sh"), "--shell")
    (stick / "bin").mkdir()
    (stick / "bin/sleep").write_text("#!/bin/sh\n")
    (stick / "bin/sleep").chmod(0o755)
    path = f"PATH={stick / 'bin'}:{os.environ['PATH']}"
    assert "Gathering in 8 s" in collect(("env", path, *command), "--root", str(small_tree), "--wait", "08")
    for wrong in ("3601", "99999", "", "-1", "1e3", "0x9"):
        collect(command, "--root", str(small_tree), "--wait", wrong, code=2)


def test_a_wait_that_is_too_long_is_refused_by_the_python_file_too(stick: Path) -> None:
    for wrong in ("3601", "", "-1"):
        collect(commands(stick)["python"], f"--wait={wrong}", code=2)


def test_what_cannot_be_posted_is_told(stick: Path, small_tree: Path) -> None:
    command = commands(stick)["shell"]
    assert "posted" not in collect(command, "--root", str(small_tree))
    said = collect(command, "--root", str(small_tree), "--post", "192.0.2.7")
    assert "--post needs Python, which is not used here: nothing will be posted." in said
    (stick / "post-to.txt").write_text("192.0.2.7\r\nK7PM-4RTX\r\n")
    said = collect(command, "--root", str(small_tree))
    assert "post-to.txt needs Python, which is not used here: nothing will be posted." in said


@pytest.mark.parametrize("way", ["python", *shells()])
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_collector_that_is_ended_says_so_and_leaves_nothing(
    way: str, number: signal.Signals, stick: Path, small_tree: Path
) -> None:
    """The exit code is 128 and the signal's number, as of a program that a signal ended (POSIX.1-2017, 2.8.2)."""
    before = sorted(stick.iterdir())
    its = commands(stick)["python"] if way == "python" else (*SHELLS[way], str(stick / "capture.sh"), "--shell")
    command = [*its, "--root", str(small_tree), "--wait", "60"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as collector:
        assert collector.stderr is not None
        assert "ing in 60 s" in collector.stderr.readline()
        collector.send_signal(number)
        said = collector.stderr.read()
    assert collector.returncode == 128 + number
    assert said == f"usbwatch: interrupted; nothing {'more ' if way == 'python' else ''}was written.\n"
    assert sorted(stick.iterdir()) == before
