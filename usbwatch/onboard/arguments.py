"""The command line of ``python -m usbwatch.onboard``: the stick's ``/init`` writes it, and tests."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Asked", "parsed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked for."""

    screen: str
    """The console's device, "" for none."""
    serial: str
    settings: str
    root: str | None
    folder: str | None
    quiet: bool


def parsed(arguments: Sequence[str]) -> Asked:
    """The arguments as values."""
    parser = argparse.ArgumentParser(
        prog="python -m usbwatch.onboard",
        description="Capture, judge, save and show the unit that this runs on. It is what the stick starts.",
    )
    parser.add_argument("--screen", default="", metavar="TTY", help="the console that pages are shown on")
    parser.add_argument("--serial", default="", metavar="TTY", help="the line on which the same is said as plain text")
    parser.add_argument("--settings", default="/opt/stick/settings.json", metavar="FILE", help="the stick's settings")
    parser.add_argument("--root", metavar="DIR", help="read a copied tree instead of this machine, to try it")
    parser.add_argument("--folder", metavar="DIR", help="save in this folder instead of the stick, to try it")
    parser.add_argument("--quiet", action="store_true", help="no beeps")
    told = parser.parse_args(arguments)
    return Asked(
        screen=told.screen,
        serial=told.serial,
        settings=told.settings,
        root=told.root,
        folder=told.folder,
        quiet=told.quiet,
    )
