"""The beginning: something stands on the screen before anything that takes a while is imported."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace

from usbwatch import __version__
from usbwatch.onboard.arguments import Asked, parsed
from usbwatch.onboard.console import Console
from usbwatch.onboard.looking_page import Looking, looking_page, looking_words
from usbwatch.onboard.moments import Moments, since_boot_s
from usbwatch.onboard.serial_line import SerialLine
from usbwatch.onboard.terminals import Terminals

__all__ = ["POWER_OFF", "main"]

POWER_OFF = 7
"""The exit code that asks the stick's ``/init`` to switch the unit off."""


def main(arguments: Sequence[str], began_s: float) -> int:
    """The exit code: ``POWER_OFF``, once that was asked for with two keys. It goes on until then."""
    asked = parsed(arguments)
    os.environ.setdefault("TERM", "linux")
    terminals = Terminals(
        Console(asked.screen) if asked.screen else None, SerialLine(asked.serial) if asked.serial else None
    )
    looking = Looking(stage=0)
    terminals.show(
        lambda width, height: looking_page(looking, width, height, __version__), looking_words(looking, __version__)
    )
    moments = replace(Moments(started=began_s), shown=since_boot_s())
    try:
        return _run(asked, terminals, moments)
    finally:
        terminals.leave()


def _run(asked: Asked, terminals: Terminals, moments: Moments) -> int:
    from usbwatch.onboard.deeds import done
    from usbwatch.onboard.running import Run

    Run(asked, terminals, moments).go(done)
    os.sync()
    return POWER_OFF
