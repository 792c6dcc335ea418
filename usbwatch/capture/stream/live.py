"""All sources of a live watch of this machine, and one ``wait`` over them.

What tells of a change, and how fast:

* ``uevents``: the kernel's own events, at once;
* ``looks``, where there is no monitor for them: ten times a second one small
  file says whether the kernel had anything to tell, and only then the folders
  of the buses are listed;
* ``kernel log``: failures to enumerate, over-current, resets, and departures
  before the kernel has taken them through;
* ``readings``: supplies and displays (``readings``).

Nothing is written, claimed, asked of a device or woken.
"""

from __future__ import annotations

import select
import time
from typing import List, Optional, Sequence, Set, Tuple, Type

from usbwatch.capture.live import LiveTree
from usbwatch.capture.stream.count import KernelCount
from usbwatch.capture.stream.following import BELIEVE_MS
from usbwatch.capture.stream.log_tail import LogTail
from usbwatch.capture.stream.log_words import log_news
from usbwatch.capture.stream.looking import Looks
from usbwatch.capture.stream.news import Dropped, Happening, Logged, LogWord, Looked, Seen, Slept, Stood
from usbwatch.capture.stream.readings import EVERY_MS, Readings
from usbwatch.capture.stream.sleep import SleepClock
from usbwatch.capture.stream.telling import Telling, merged
from usbwatch.capture.stream.uevents import NoMonitor, Uevent, Uevents
from usbwatch.capture.stream.whereabouts import Whereabouts
from usbwatch.model import Capture

__all__ = ["KERNEL_LIMIT_MS", "LOOK_EVERY_MS", "WAYS", "LiveStream"]

WAYS = ("auto", "uevents", "looks")
"""How to hear of devices: ``auto`` takes the kernel's events where they are to be had."""

LOOK_EVERY_MS = 100
_SOON_MS = 10
KERNEL_LIMIT_MS = 100
"""What the kernel itself needs to tell two absences of a USB device apart.

Any break of a connection is latched by the hub and ends the device's stay (``hub_port_connect_change``), but a
connection counts only once it has been steady for 100 ms (HUB_DEBOUNCE_STABLE, drivers/usb/core/hub.c; for 2 s at most:
HUB_DEBOUNCE_TIMEOUT), and then the device must be enumerated. Breaks within that time are one absence. A device that
sleeps and keeps its place (USB-persist) shows a short one as a reset alone (Documentation/driver-api/usb/persist.rst).
"""

_CHECK_EVERY_MS = 1000
"""How often what was heard is held against the kernel's own count."""
_SLACK_MS = 100
"""What is due within this time is done at once: an idle machine pays more for a waking than for what is done in it."""
_AGAIN_MS = BELIEVE_MS + _CHECK_EVERY_MS
"""So long after a look that made up for lost events there is one more: by then what the first one found on its way out
has left, or is believed to be there."""


def monotonic_ms() -> int:
    """Milliseconds of a clock that never goes back."""
    return time.monotonic_ns() // 1_000_000


class LiveStream:
    """What happens on this machine from now on; leaving the context closes the sources.

    ``wakes`` are descriptors that end a wait when they can be read.
    Times are milliseconds since it was made. Raises ``NoMonitor`` when ``way`` is ``uevents`` and there is no
    monitor, and ``OSError`` where there is no sysfs.
    """

    def __init__(self, way: str = "auto", wakes: Sequence[int] = ()) -> None:
        self._began_ms = monotonic_ms()
        self._tree = LiveTree()
        self._poll = select.poll()
        self.lacking: List[str] = []
        """What could not be had, one phrase each."""
        self._count = KernelCount()
        self._log = self._opened_log()
        self._monitor = self._opened_monitor(way)
        for handle in wakes:
            self._poll.register(handle, select.POLLIN)
        self._moved = False
        self._again_ms: Optional[int] = None
        self._clock = SleepClock()
        self._checked_ms = self._read_ms = self.now_ms()

    def _opened_log(self) -> Optional[LogTail]:
        try:
            log = LogTail()
        except OSError as error:
            self.lacking.append(f"the kernel's log may not be read ({error.strerror})")
            return None
        self._poll.register(log.fileno(), select.POLLIN)
        return log

    def _opened_monitor(self, way: str) -> Optional[Uevents]:
        if way == "looks":
            return None
        try:
            monitor = Uevents()
        except NoMonitor as error:
            if way == "uevents":
                raise
            self.lacking.append(f"the kernel's events are not to be had ({error})")
            return None
        self._poll.register(monitor.fileno(), select.POLLIN)
        return monitor

    def __enter__(self) -> LiveStream:  # noqa: PYI034 - typing.Self came with Python 3.11
        return self

    def __exit__(self, kind: Optional[Type[BaseException]], error: object, trace: object) -> None:
        self._count.close()
        if self._log is not None:
            self._log.close()

    def now_ms(self) -> int:
        """Milliseconds since it was made, by a clock that never goes back."""
        return monotonic_ms() - self._began_ms

    def forget(self, wake: int) -> None:
        """Let a descriptor of ``wakes`` no longer end a wait: nothing more comes from it."""
        self._poll.unregister(wake)

    @property
    def sources(self) -> Tuple[str, ...]:
        """What tells of events now, sorted, in the words of ``Watch.sources``."""
        own = "uevents" if self._monitor is not None else "looks"
        return tuple(sorted((own, "readings", *(("kernel log",) if self._log is not None else ()))))

    @property
    def limit_ms(self) -> int:
        """An absence of a device at least this long is seen for certain."""
        return KERNEL_LIMIT_MS + (0 if self._monitor is not None else LOOK_EVERY_MS)

    def begin(self, capture: Capture) -> Tuple[Tuple[Seen, ...], Tuple[Stood, ...]]:
        """What is there and how it stands at this moment; ``wait`` tells what happens after it.

        ``capture`` is of the same machine; it lends names.
        """
        self._whereabouts = Whereabouts(self._tree, capture)
        self._telling = Telling(self._whereabouts, names_logged=self._log is not None)
        self._readings = Readings(self._tree, capture)
        self._looks = Looks(self._whereabouts, ask_names=self._log is None)
        self._count.start()
        if self._monitor is not None:  # what was told before the first look is in it
            self._monitor.read()
        if self._log is not None:
            self._log.read()
        seen = self._looks.look()
        at_ms = self.now_ms()
        self._looks.drivers(at_ms)
        self._checked_ms = self._read_ms = at_ms
        return seen, (*self._readings.supplies(at_ms), *self._readings.displays(at_ms))

    def wait(self, timeout_s: float) -> Tuple[Happening, ...]:
        """What happened, in order, waiting at most so long for it."""
        ready = self._ready(self.now_ms() + int(timeout_s * 1000))
        at_ms = self.now_ms()
        asleep_ms = self._clock.slept_ms()
        # What the kernel tells and what a look finds comes after its line in the log: so they are taken before that.
        events, dropped = self._heard(ready)
        looked = self._looked(at_ms, dropped=dropped > 0)
        lines, lost = self._logged(at_ms) if ready or looked else ([], 0)
        told = [one for one in (self._telling.happening(event, at_ms) for event in events) if one is not None]
        # What the log has found will be in its folder in a moment.
        self._moved = self._moved or any(one.word is LogWord.FOUND for one in lines)
        return (
            *([Slept(at_ms=at_ms, asleep_ms=asleep_ms)] if asleep_ms else ()),
            *merged(lines, told),
            *[Dropped(at_ms=at_ms)] * (dropped + lost),
            *looked,
            *self._stood(at_ms, {event.subsystem for event in events}),
        )

    def _ready(self, until_ms: int) -> Set[int]:
        """What can be read, waiting for it till it is time for something else; this is where the time is spent."""
        due_ms = min(until_ms, self._read_ms + EVERY_MS)
        if self._monitor is not None:
            due_ms = min(due_ms, self._checked_ms + _CHECK_EVERY_MS)
        elif not self._moved:
            return self._ready_by_looks(due_ms)
        else:
            due_ms = min(due_ms, self.now_ms() + _SOON_MS)
        return {handle for handle, _ in self._poll.poll(max(0, due_ms - self.now_ms()))}

    def _ready_by_looks(self, due_ms: int) -> Set[int]:
        """The same, asking for the kernel's count meanwhile; short, for a turn of it is taken ten times a second."""
        began_ms = self.now_ms()
        turns, rest_ms = divmod(max(0, due_ms - began_ms), LOOK_EVERY_MS)
        told: List[Tuple[int, int]] = []
        for number in range(turns + 1):
            told = self._poll.poll(LOOK_EVERY_MS if number < turns else rest_ms)
            self._moved = self._count.has_moved()
            if told or self._moved:
                break
            self._checked_ms = began_ms + number * LOOK_EVERY_MS
        return {handle for handle, _ in told}

    def _heard(self, ready: Set[int]) -> Tuple[List[Uevent], int]:
        if self._monitor is None or self._monitor.fileno() not in ready:
            return [], 0
        events, dropped = self._monitor.read()
        self._count.heard(event.number for event in events)
        return events, int(dropped)

    def _logged(self, at_ms: int) -> Tuple[List[Logged], int]:
        if self._log is None:
            return [], 0
        text, lost = self._log.read()
        if self._log.ended:
            self._let_log_go()
        return list(log_news(text, at_ms, self._whereabouts.root_hubs)), lost

    def _let_log_go(self) -> None:
        """Listen to the log no more: at its end a poll would return at once, for ever."""
        assert self._log is not None
        self._poll.unregister(self._log.fileno())
        self._log.close()
        self._log = None
        self.lacking.append("the kernel's log came to an end")

    def _looked(self, at_ms: int, *, dropped: bool) -> List[Happening]:
        """What a look shows, where the kernel had something to tell that was not heard."""
        if self._monitor is not None:
            return self._caught_up(at_ms, dropped=dropped)
        if not self._moved:
            return []
        since_ms = at_ms - self._checked_ms
        self._moved, self._checked_ms = False, at_ms
        looked = Looked(at_ms=at_ms, seen=self._looks.look(), since_ms=since_ms)
        return [looked, *self._looks.drivers(at_ms), *self._readings.displays(at_ms)]

    def _caught_up(self, at_ms: int, *, dropped: bool) -> List[Happening]:
        """A look where events were lost; where none has ever come, looks take over.

        The network namespace of a container gets no events of devices
        (``uevent_net_broadcast_untagged`` in lib/kobject_uevent.c).
        """
        since_ms = at_ms - self._checked_ms
        if since_ms < _CHECK_EVERY_MS - _SLACK_MS and not dropped:
            return []
        self._checked_ms = at_ms
        behind = self._count.is_behind()
        lost = behind or dropped
        again = self._again_ms is not None and at_ms >= self._again_ms
        if not (lost or again):
            return []
        self._again_ms = at_ms + _AGAIN_MS if lost else None
        if behind and not dropped and not self._count.heard_any:
            self._fall_back()
        return [Looked(at_ms=at_ms, seen=self._looks.look(), since_ms=since_ms)]

    def _fall_back(self) -> None:
        assert self._monitor is not None
        self._poll.unregister(self._monitor.fileno())
        self._monitor = None
        self.lacking.append("the kernel's events do not reach this process, as in a container")

    def _stood(self, at_ms: int, subsystems: Set[str]) -> List[Stood]:
        """How supplies and displays stand, when it is time or an event says that they changed."""
        stood: List[Stood] = []
        if at_ms - self._read_ms >= EVERY_MS - _SLACK_MS or "power_supply" in subsystems:
            self._read_ms = at_ms
            stood += self._readings.supplies(at_ms)
        if "drm" in subsystems:
            stood += self._readings.displays(at_ms)
        return stood
