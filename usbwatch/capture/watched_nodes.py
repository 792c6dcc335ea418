"""The input and power nodes of a live machine, opened for reading alone and listened to.

Nothing is grabbed, written or asked for by ioctl, so every other program goes
on hearing the same events (``evdev_events`` in drivers/input/evdev.c passes each
to every reader). The one thing that opening does: the kernel switches a device
on that no program was reading (``input_open_device`` in drivers/input/input.c).
"""

from __future__ import annotations

import errno
import os
import re
import select
import time
from dataclasses import dataclass, replace
from typing import Callable, Dict, Iterator, List, Optional, Tuple, Type

from usbwatch.capture import power_supply
from usbwatch.capture.hid import INPUT_FOLDER, input_nodes
from usbwatch.capture.opening import READ_ONLY
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.capture.signs import LARGEST_EVENT, Sign, signs_in
from usbwatch.capture.tree import Tree
from usbwatch.capture.watching import Happening, Left, Said, Signs
from usbwatch.model import Capture, Node

__all__ = ["SUPPLY_EVERY_MS", "LiveNodes", "Source", "openable", "sources"]

SUPPLY_EVERY_MS = 1000
"""Reading a supply may ask the embedded controller, so it is done no oftener."""

_INPUT_NAME = re.compile(r"input\d+\Z")
_EVENT_NAME = re.compile(r"event\d+\Z")
_AT_ONCE = 256
"""Events taken in one read at most."""
_COULD_NOT = frozenset({b"n", b"no"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A node that can be watched, and the file that speaks for it."""

    node: Node
    path: str
    inhibited: bool = False
    """A program has told the kernel to keep it quiet (Documentation/input/input-programming.rst)."""


def sources(tree: Tree, capture: Capture) -> Tuple[Source, ...]:
    """The nodes of ``capture`` that can be watched on the machine of ``tree``, in the capture's order.

    A node that came or changed since the capture was taken is left out.
    """
    sight = Sight(tree)
    places = Places(sight)
    known = [node for node in capture.nodes if node.bus in ("input", "power_supply")]
    found: List[Source] = []
    for source in (*_inputs(sight, places), *_supplies(sight, places)):
        same = next((one for one in known if _content(one) == _content(source.node)), None)
        if same is not None:
            known.remove(same)
            found.append(replace(source, node=same))
    return tuple(sorted(found, key=lambda source: (source.node.location, source.node.bus)))


def _content(node: Node) -> Tuple[str, str, str, str, Tuple[str, ...]]:
    """What tells two nodes of one place apart: the same that gives them their numbers in a capture."""
    return node.bus, node.location.partition("#")[0], node.identity, node.name, node.functions


def _inputs(sight: Sight, places: Places) -> Iterator[Source]:
    try:
        folders = [folder for name, folder in sight.devices(INPUT_FOLDER) if _INPUT_NAME.match(name)]
        nodes = list(input_nodes(sight, places))
    except OSError:
        return
    for folder, node in zip(folders, nodes):  # noqa: B905 - strict came with Python 3.10; both list the same folder
        inhibited = sight.text(folder, "inhibited") == "1"
        for name in filter(_EVENT_NAME.match, sight.names(folder)):
            yield Source(node=node, path=f"/dev/input/{name}", inhibited=inhibited)


def _supplies(sight: Sight, places: Places) -> Iterator[Source]:
    try:
        folders = [folder for _, folder in sight.devices(power_supply.FOLDER)]
        nodes = list(power_supply.nodes(sight, places))
    except OSError:
        return
    for folder, node in zip(folders, nodes):  # noqa: B905 - strict came with Python 3.10; both list the same folder
        if "online" in node.facts:
            yield Source(node=node, path=f"/{folder}/online")


def openable(source: Source) -> int:
    """0 where the node can be watched, else the error number of trying to."""
    try:
        os.close(os.open(source.path, READ_ONLY))
    except OSError as error:
        return error.errno or errno.EIO
    return 0


def monotonic_ms() -> int:
    """Milliseconds of a clock that never goes back, and stands still while the unit sleeps."""
    return time.monotonic_ns() // 1_000_000


class LiveNodes:
    """Sources opened from now on, and a person on a terminal; leaving the context closes the sources.

    ``speech`` is the file descriptor of the person's terminal, None where there is none.
    """

    def __init__(
        self, watched: Tuple[Source, ...], speech: Optional[int] = None, now_ms: Callable[[], int] = monotonic_ms
    ) -> None:
        self._now_ms = now_ms
        self._speech = speech
        self._inputs: Dict[int, str] = {}
        self._supplies: Dict[int, Tuple[str, bytes]] = {}
        self._looked_ms = now_ms()
        self._poll = select.poll()
        for source in watched:
            self._open(source)
        if speech is not None:
            self._poll.register(speech, select.POLLIN)

    def _open(self, source: Source) -> None:
        try:
            handle = os.open(source.path, READ_ONLY)
        except OSError:
            return
        if source.node.bus == "input":
            self._inputs[handle] = source.node.location
            self._poll.register(handle, select.POLLIN)
        else:
            self._supplies[handle] = (source.node.location, _online(handle))

    def __enter__(self) -> LiveNodes:  # noqa: PYI034 - typing.Self came with Python 3.11
        return self

    def __exit__(self, kind: Optional[Type[BaseException]], error: object, trace: object) -> None:
        for handle in (*self._inputs, *self._supplies):
            os.close(handle)

    def wait(self, timeout_s: float) -> Tuple[Happening, ...]:
        """What happened, waiting at most so long for it."""
        wait_ms = int(timeout_s * 1000)
        if self._supplies:
            wait_ms = min(wait_ms, self._looked_ms + SUPPLY_EVERY_MS - self._now_ms())
        told = [handle for handle, _ in self._poll.poll(max(0, wait_ms))]
        happened = [self._read_input(handle) for handle in told if handle in self._inputs]
        words = self._read_speech() if self._speech in told else ()
        # The node before the word: a press of Enter is both, and the word ends the watch.
        return (*(one for one in happened if one is not None), *self._look_at_supplies(), *words)

    def _read_input(self, handle: int) -> Optional[Happening]:
        try:
            data = os.read(handle, _AT_ONCE * LARGEST_EVENT)
        except BlockingIOError:
            return None
        except OSError:
            data = b""
        location = self._inputs[handle]
        if not data:
            self._poll.unregister(handle)
            del self._inputs[handle]
            os.close(handle)
            return Left(at_ms=self._now_ms(), location=location)
        return Signs(at_ms=self._now_ms(), location=location, signs=signs_in(data))

    def _read_speech(self) -> Tuple[Said, ...]:
        assert self._speech is not None
        try:
            text = os.read(self._speech, 4096)
        except OSError:
            text = b""
        if not text:
            self._poll.unregister(self._speech)
            self._speech = None
            return ()
        lines = text.split(b"\n")[:-1]
        return tuple(Said(at_ms=self._now_ms(), done=line.strip().lower() not in _COULD_NOT) for line in lines)

    def _look_at_supplies(self) -> Tuple[Signs, ...]:
        now_ms = self._now_ms()
        if not self._supplies or now_ms - self._looked_ms < SUPPLY_EVERY_MS:
            return ()
        self._looked_ms = now_ms
        changed: List[Signs] = []
        for handle, (location, before) in self._supplies.items():
            online = _online(handle)
            self._supplies[handle] = (location, online or before)
            sign = _CHANGES.get((before, online))
            if sign is not None:
                changed.append(Signs(at_ms=now_ms, location=location, signs=(sign,)))
        return tuple(changed)


_CHANGES = {(b"1", b"0"): Sign.OFFLINE, (b"0", b"1"): Sign.ONLINE}
"""What a supply's ``online`` was, and is (Documentation/ABI/testing/sysfs-class-power; 2 is a programmable one)."""


def _online(handle: int) -> bytes:
    """What a supply's ``online`` says, b"" where it does not read."""
    try:
        return os.pread(handle, 16, 0).strip().replace(b"2", b"1")
    except OSError:
        return b""
