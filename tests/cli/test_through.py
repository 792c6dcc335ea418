"""``--through``: which way of looking is taken, and what is said where libusb is not to be had."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from support.bench import lay_out, run, small_tree

from usbwatch.cli import taking
from usbwatch.model import Capture, System, UnitStrings


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    small_tree(tmp_path / "tree")
    return lay_out(tmp_path)


@pytest.fixture
def portable(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, object]]:
    """What a capture through libusb is asked for, instead of one."""
    asked: list[dict[str, object]] = []

    def take_portable(**named: object) -> Capture:
        asked.append(named)
        return Capture(taken_at="", tool="", system=System(platform="x"), unit=UnitStrings(), coverage=(), nodes=())

    monkeypatch.setattr("usbwatch.capture.portable.take_portable", take_portable)
    return asked


WAYS = {
    "Linux": ("linux", None, 0),
    "Linux, libusb asked for": ("linux", "libusb", 1),
    "macOS": ("darwin", None, 1),
    "Windows": ("win32", None, 1),
}


@pytest.mark.parametrize(("platform", "through", "times"), WAYS.values(), ids=WAYS.keys())
def test_libusb_is_the_way_where_there_is_no_sysfs(
    platform: str, through: str | None, times: int, portable: list[dict[str, object]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("usbwatch.cli.taking.sys.platform", platform)
    taking.taken(None, None, through)
    assert len(portable) == times


def test_a_system_without_user_numbers_is_not_privileged(
    portable: list[dict[str, object]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delattr("os.geteuid")
    taking.taken(None, None, "libusb")
    assert portable[0]["privileged"] is False


MISUSES = {
    "with a tree": ["capture", "--through", "libusb", "--root", "tree"],
    "before a tree": ["capture", "--root", "tree", "--through", "libusb"],
    "with a log": ["check", "--through", "libusb", "--log", "tree"],
    "with a capture": ["check", "whole.json", "--through", "libusb"],
    "an unknown way": ["capture", "--through", "magic"],
}


@pytest.mark.parametrize("arguments", MISUSES.values(), ids=MISUSES.keys())
def test_what_does_not_go_together_is_refused(bench: Path, arguments: list[str]) -> None:
    done = run(bench, *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert "--through" in done.stderr


@pytest.mark.parametrize("package", ["usb", "libusb_package", "psutil"])
def test_without_its_packages_it_says_how_to_install_them(tmp_path: Path, package: str) -> None:
    program = (
        f"import sys; sys.modules[{package!r}] = None\n"
        "from usbwatch.cli import main; sys.exit(main(['capture', '--through', 'libusb', '-o', '-']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False, cwd=tmp_path, env=dict(os.environ)
    )
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr.count("\n") == 1
    assert "install it with: pip install 'usbwatch[portable]'" in done.stderr


def test_a_libusb_that_does_not_load_is_said_in_the_coverage(tmp_path: Path) -> None:
    """No library at the place that the package names: pyusb gives no backend and would print a traceback."""
    program = (
        "import sys, libusb_package; libusb_package.find_library = lambda name: '/nonexistent/libusb.so'\n"
        "from usbwatch.capture.portable.look import take_portable\n"
        "made = take_portable(taken_at='', platform='darwin', battery=lambda: None)\n"
        "print([(one.state.value, one.why) for one in made.coverage if one.bus == 'usb'])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.stdout == "[('failed', 'libusb did not load, or did not start on this system')]\n"
    assert done.stderr == ""
