"""Asks a person for one thing after another, and listens to the unit meanwhile."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from usbwatch.cli.screen import asks, page_width, say, show

if TYPE_CHECKING:
    from usbwatch.capture import Tree
    from usbwatch.capture.watched_nodes import Source
    from usbwatch.capture.watching import Ask, Nodes, Watch
    from usbwatch.compare.hand_tasks import HandTask
    from usbwatch.model import Capture, Node
    from usbwatch.show.handcheck_view import HandResult

__all__ = ["Bench", "Pose", "deaf_sentence", "heard", "live_bench", "results", "rights_sentence"]

_STEP_S = 0.2
_STRAY_AFTER_MS = 500
"""A press of Enter on a helper keyboard reaches us twice; the word comes within this time of the key."""


def _posed(ask: Ask, patience_s: int, *, speaks: bool) -> None:
    from usbwatch.show.handcheck_view import ask_view

    show(ask_view(ask.function, ask.deed, patience_s, page_width(), speaks=speaks), err=True)


def _forget_what_was_typed() -> None:
    """Letters that were pressed for a check must not end up in the next one, nor in the shell."""
    import termios

    termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)


class Pose(Protocol):
    """How a person is asked for one thing."""

    def __call__(self, ask: Ask, patience_s: int, *, speaks: bool) -> None:
        """Show what is asked for, and for how long it is waited."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The machine that is listened to, and its clock."""

    tree: Tree
    openable: Callable[[Source], int]
    opened: Callable[[tuple[Source, ...]], AbstractContextManager[Nodes]]
    now_ms: Callable[[], int]
    speaks: bool
    """Whether a person can say a word."""
    pose: Pose = _posed
    remark: Callable[[str], None] = say
    """Tells the person one line meanwhile."""
    forget: Callable[[], None] = _forget_what_was_typed
    """Lets go of what was typed and not read."""


def live_bench() -> Bench:
    """The bench of this machine, and of the terminal that it is used from."""
    from usbwatch.capture import LiveTree
    from usbwatch.capture.watched_nodes import LiveNodes, monotonic_ms, openable

    speaks = asks()
    speech = sys.stdin.fileno() if speaks else None
    return Bench(
        tree=LiveTree(),
        openable=openable,
        opened=lambda watched: LiveNodes(watched, speech),
        now_ms=monotonic_ms,
        speaks=speaks,
    )


def heard(sources: tuple[Source, ...], bench: Bench) -> dict[str, str]:
    """By location of each node that has a file: "", or why that cannot be listened to."""
    return {source.node.location: _why_deaf(bench.openable(source), source) for source in sources}


def _why_deaf(error: int, source: Source) -> str:
    import errno
    import os

    if not error:
        return "a program has told the kernel to keep its node quiet (inhibited)" if source.inhibited else ""
    refused = error in (errno.EACCES, errno.EPERM)
    return "its node may not be opened by this user" if refused else f"its node cannot be opened ({os.strerror(error)})"


def rights_sentence(deaf: Mapping[str, str]) -> str:
    """What rights are lacking, "" when none are."""
    refused = sum("by this user" in why for why in deaf.values())
    if not refused:
        return ""
    return (
        f"{refused} of {len(deaf)} nodes may not be opened by this user; "
        "run it as root, or as a member of the group that owns /dev/input (on most systems: input)."
    )


def deaf_sentence(deaf: Mapping[str, str], live: Capture) -> str:
    """Why nothing at all can be listened to on this machine, and what to do; "" where something can."""
    if "" in deaf.values():
        return ""
    if live.system.virtual:
        return "nothing can be listened to: this is a virtual machine or container; run it on the unit itself."
    if not deaf:
        why = "this kernel shows no input device, lid or charger"
        return f"nothing can be listened to: {why} (no node in /dev/input); start a full Linux on the unit."
    return f"nothing can be listened to: {next(iter(deaf.values()))}; restart the unit, and run it as root."


def results(
    tasks: tuple[HandTask, ...], sources: tuple[Source, ...], bench: Bench, patience_s: int
) -> tuple[HandResult, ...]:
    """What came of each task, asked in turn."""
    from usbwatch.model import Deed, Response
    from usbwatch.show.handcheck_view import HandResult

    found: list[HandResult] = []
    pulled = True
    for task in tasks:
        why_not = task.why_not
        if task.deed is Deed.PLUG and not pulled and not why_not:
            why_not = "the charger was not seen to leave"
        if why_not:
            found.append(HandResult(device=task.device, deed=task.deed, why_not=why_not))
            continue
        seen = _asked(task, sources, bench, patience_s)
        if task.deed is Deed.PULL:
            pulled = seen.observation is not None and seen.observation.response is Response.ANSWERED
        found.append(seen)
    return tuple(found)


def _asked(task: HandTask, sources: tuple[Source, ...], bench: Bench, patience_s: int) -> HandResult:
    from usbwatch.capture.watching import Ask, begun, observation
    from usbwatch.cli.taking import now
    from usbwatch.show.handcheck_view import HandResult

    names = {source.node.location: source.node for source in sources}
    ask = Ask(function=task.device.function, deed=task.deed, own=task.own)
    if bench.speaks:
        bench.forget()
    with bench.opened(sources) as nodes:
        bench.pose(ask, patience_s, speaks=bench.speaks)
        watch = _listened(begun(ask, bench.now_ms(), patience_s * 1000), nodes, names, bench)
    if bench.speaks:
        bench.forget()
    seen = observation(watch, now(), {place: node.name for place, node in names.items()})
    bench.remark(f"→ {seen.response.value}")
    return HandResult(device=task.device, deed=task.deed, observation=seen)


def _listened(watch: Watch, nodes: Nodes, names: Mapping[str, Node], bench: Bench) -> Watch:
    from usbwatch.capture.watching import is_over, moved_on, strays
    from usbwatch.show.handcheck_view import stray_sentence

    told: set[str] = set()
    while not is_over(watch, bench.now_ms()):
        for happening in nodes.wait(_STEP_S):
            watch = moved_on(watch, happening)
        first_ms = min((watch.tallies[place].first_ms for place in strays(watch)), default=0)
        new = set(strays(watch)) - told
        if new and not watch.said and bench.now_ms() - first_ms > _STRAY_AFTER_MS:
            told |= new
            shown = (f"{names[place].name or 'a nameless node'} ({place})" for place in sorted(new))
            bench.remark(stray_sentence(watch.ask.deed, tuple(shown)))
    return watch
