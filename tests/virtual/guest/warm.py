"""The command ``usbwatch`` without its start: a process that has imported the program, and forks for each run.

Emulated, the imports of one run take as long as a look at the whole machine.
Each line that is written to the FIFO ``IN`` is one run, its words separated by
tabs: a folder, then the arguments. The run is a process of its own, which has
looked at nothing before. Its number, output and exit code are files in that
folder: ``pid``, ``out``, ``err`` and ``code``. What one run has imported is
imported here before the next one.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import signal
import sys
from pathlib import Path

import usbwatch
from usbwatch.cli import main

IN = "/run/warm.in"
IMPORTED = Path("/run/warm.imported")


def run(folder: Path, arguments: list[str]) -> None:
    """Be that run, to its end."""
    os.setsid()
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background jobs ignore it
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    for name, number in (("out", 1), ("err", 2)):
        os.dup2(os.open(folder / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    told(folder, "pid", os.getpid())
    sys.argv = ["usbwatch", *arguments]
    code = main()
    sys.stdout.flush()
    with IMPORTED.open("a") as names:
        names.write("".join(f"{name}\n" for name in sorted(sys.modules)))
    told(folder, "code", code)
    os._exit(code)


def told(folder: Path, name: str, value: int) -> None:
    """Write a figure into a file that is there only when it is whole."""
    (folder / f"{name}.new").write_text(f"{value}\n")  # a line, as the serial console needs it
    (folder / f"{name}.new").rename(folder / name)


def keep_up() -> None:
    """Import what earlier runs have imported."""
    if IMPORTED.exists():
        for name in IMPORTED.read_text().split():
            with contextlib.suppress(ImportError):  # what a library makes up while it runs
                importlib.import_module(name)
        IMPORTED.unlink()


def serve() -> None:
    """One run after another, side by side where they are told so."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for them
    os.mkfifo(IN)
    # Open for writing, too, so that it never ends.
    with os.fdopen(os.open(IN, os.O_RDWR)) as lines:
        for line in lines:
            keep_up()
            folder, *arguments = line.rstrip("\n").split("\t")
            if not os.fork():
                run(Path(folder), arguments)


if __name__ == "__main__":
    assert Path(usbwatch.__file__).is_relative_to("/opt/usbwatch")
    serve()
