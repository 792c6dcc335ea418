"""The package loads, and its capture runs, where the system lacks what only Unix or Linux has.

The lack is made: names are taken out of ``os`` and modules made unimportable
in a process of its own. What is lacking where: Python's documentation of
``os`` (availability of each flag and function) and of the Unix modules.
"""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

_ROOT = Path(__file__).parents[1]

LACKING = {
    "Windows": (
        ("O_NONBLOCK", "O_CLOEXEC", "O_NOFOLLOW", "geteuid", "getuid", "uname", "mkfifo", "sched_getaffinity"),
        ("fcntl", "termios", "resource", "pwd", "grp", "tty", "pty"),
    ),
    "macOS": (("sched_getaffinity", "O_PATH", "O_TMPFILE"), ()),
}

_WITHOUT = textwrap.dedent("""
    import sys
    # What the system's own Python adapts to stays as it is here: load it before the lack is made.
    import asyncio, ctypes, platform, shutil, subprocess, tempfile
    import click, rich.console, msgspec, jsonschema, deepdiff, platformdirs, psutil, usb.core, libusb_package
    import os
    for name in {names!r}:
        if hasattr(os, name):
            delattr(os, name)
    for module in {modules!r}:
        sys.modules[module] = None
""")

_LOAD_ALL = textwrap.dedent("""
    import importlib, pkgutil
    import usbwatch
    found = pkgutil.walk_packages(usbwatch.__path__, "usbwatch.")
    names = [one.name for one in found if not one.name.endswith("__main__")]
    for name in names:
        importlib.import_module(name)
    print(len(names))
""")

_CAPTURE = textwrap.dedent("""
    sys.platform = {platform!r}
    sys.path.insert(0, "tests")
    from support.fake_libusb import FakeLibusb
    from support.listed_units import larch
    import usbwatch.capture.portable.look as look
    look.libusb = lambda: FakeLibusb(larch())
    look.psutil_battery = lambda: lambda: None
    from usbwatch.cli import main
    written = main(["capture", "-o", {path!r}])
    judged = main(["check", {path!r}, "--profile", "fernhill-larch-13"])
    print(written, judged)
""")


def run(program: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=False,
        cwd=_ROOT,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )


@pytest.mark.parametrize(("names", "modules"), LACKING.values(), ids=LACKING.keys())
def test_every_module_loads(names: tuple[str, ...], modules: tuple[str, ...]) -> None:
    done = run(_WITHOUT.format(names=names, modules=modules) + _LOAD_ALL)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 80


@pytest.mark.parametrize(("system", "platform"), [("Windows", "win32"), ("macOS", "darwin")])
def test_a_capture_is_taken_written_and_checked(tmp_path: Path, system: str, platform: str) -> None:
    names, modules = LACKING[system]
    program = _WITHOUT.format(names=names, modules=modules)
    done = run(program + _CAPTURE.format(platform=platform, path=str(tmp_path / "unit.json")))
    assert done.stdout.splitlines()[-1:] == ["0 11"], done.stderr
    assert "9 of 19" in done.stdout or "unseen" in done.stdout


def test_the_lack_is_real() -> None:
    """So that the tests above cannot pass by lacking nothing."""
    names, modules = LACKING["Windows"]
    done = run(_WITHOUT.format(names=names, modules=modules) + "os.geteuid()")
    assert "AttributeError" in done.stderr
    done = run(_WITHOUT.format(names=names, modules=modules) + "import fcntl")
    assert "ModuleNotFoundError" in done.stderr or "ImportError" in done.stderr
