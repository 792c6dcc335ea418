"""Both places at which a person may be: the screen with its keys, and the serial line with its own."""

from __future__ import annotations

import select
import time
from collections.abc import Callable, Collection, Sequence

from usbwatch.onboard.console import Console
from usbwatch.onboard.helper_keyboards import helper_keyboards
from usbwatch.onboard.keys import Pressed
from usbwatch.onboard.keys import pressed as keys_in
from usbwatch.onboard.serial_line import SerialLine
from usbwatch.show.lines import Line

__all__ = ["Page", "Terminals"]

Page = Callable[[int, int], list[Line]]
"""From columns and rows to the lines of a page."""

_HELPERS_EVERY_S = 1.0
_WHOLE_EVERY_S = 20.0
"""So often a page is painted where nothing changed, in case something wrote over it."""
_PAUSE_S = 0.05


class Terminals:
    """What is shown, and what is pressed."""

    def __init__(self, console: Console | None, serial: SerialLine | None) -> None:
        self._console, self._serial = console, serial
        self._page: Page | None = None
        self._said: object = None
        self._pressed = {"console": Pressed(), "serial": Pressed()}
        self._own: Collection[str] = ()
        self._helpers, self._asked_s = False, -_HELPERS_EVERY_S
        self._painted_s = 0.0
        self._ahead: tuple[str, ...] = ()

    def own_usb(self, chains: Collection[str]) -> None:
        """Say which port chains are of the unit's own USB devices: what is there is no helper keyboard."""
        self._own, self._asked_s = chains, -_HELPERS_EVERY_S

    def has_helper(self) -> bool:
        """Whether a helper keyboard is attached, so that the console's keys count."""
        now_s = time.monotonic()
        if now_s - self._asked_s >= _HELPERS_EVERY_S:
            self._helpers, self._asked_s = bool(helper_keyboards(self._own)), now_s
        return self._helpers

    def show(self, page: Page, said: Sequence[Line] | str = "") -> None:
        """Show a page, and say the same on the serial line unless that was the last thing that was said there."""
        self._page = page
        self._paint(whole=False)
        if self._serial is None or not said or said == self._said:
            return
        self._said = said
        if isinstance(said, str):
            self._serial.say(said)
        else:
            self._serial.show(said)

    def say(self, text: str) -> None:
        """Say something on the serial line alone."""
        if self._serial is not None and text:
            self._serial.say(text)

    def _paint(self, *, whole: bool) -> None:
        if self._console is not None and self._page is not None:
            self._console.paint(self._page(*self._console.size()), whole=whole)
            self._painted_s = time.monotonic()

    def handles(self) -> list[int]:
        """Descriptors at which keys arrive."""
        ours = (one.handle.number for one in (self._console, self._serial) if one is not None)
        return [number for number in ours if number is not None]

    def wait(self, seconds: float, *others: int) -> tuple[str, ...]:
        """The keys that were pressed, waiting at most so long for one, or for something at ``others``."""
        try:
            select.select([*self.handles(), *others], [], [], 0 if self._ahead else seconds)
        except OSError:  # one of them has just gone
            time.sleep(min(seconds, _PAUSE_S))
        keys = self.pressed()
        self.keep_up()
        return keys

    def keep_up(self) -> None:
        """Paint the page anew where the screen has another size, or has not been painted for long."""
        if self._console is None:
            return
        if self._console.has_new_size():
            self._paint(whole=False)
        elif time.monotonic() - self._painted_s >= _WHOLE_EVERY_S:
            self._paint(whole=True)

    def pressed(self) -> tuple[str, ...]:
        """The keys that were pressed since the last time; the console's only while a helper keyboard is there."""
        ahead, self._ahead = self._ahead, ()
        counted = self._from("serial", self._serial)
        typed = self._from("console", self._console)
        return (*ahead, *counted, *typed) if typed and self.has_helper() else (*ahead, *counted)

    def put_back(self, keys: tuple[str, ...]) -> None:
        """Keep keys that were pressed ahead of what they are meant for."""
        self._ahead = (*keys, *self._ahead)

    def _from(self, name: str, terminal: Console | SerialLine | None) -> tuple[str, ...]:
        if terminal is None:
            return ()
        now_ms = time.monotonic_ns() // 1_000_000
        self._pressed[name], keys = keys_in(self._pressed[name], terminal.handle.read(), now_ms)
        return keys

    def forget(self) -> None:
        """Let go of what was pressed while nobody asked."""
        self.pressed()

    def ring(self) -> Callable[[str], None]:
        """What writes beeps to the console."""
        return self._console.handle.write if self._console is not None else lambda _: None

    def size(self) -> tuple[int, int]:
        """Columns and rows of the screen; of a serial line's usual terminal where there is none."""
        return self._console.size() if self._console is not None else (80, 24)

    @property
    def shows(self) -> bool:
        """Whether there is a screen that can beep."""
        return self._console is not None and self._console.handle.number is not None

    def leave(self) -> None:
        """Give both back."""
        if self._console is not None:
            self._console.leave()
        if self._serial is not None:
            self._serial.handle.close()
