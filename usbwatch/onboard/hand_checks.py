"""Hand checks on the unit, asked for on its own screen: the same as ``usbwatch handcheck``."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

from usbwatch.onboard.asking import shown_until_key
from usbwatch.onboard.choice_page import notice_page
from usbwatch.onboard.keys import ENTER, ESCAPE
from usbwatch.onboard.terminals import Terminals
from usbwatch.show.lines import BLANK, Line, line

if TYPE_CHECKING:
    from collections.abc import Iterator

    from usbwatch.capture.watched_nodes import LiveNodes, Source
    from usbwatch.capture.watching import Ask, Happening, Nodes
    from usbwatch.cli.hearing import Bench
    from usbwatch.onboard.running import Run

__all__ = ["hand_checked"]

_PATIENCE_S = 30
_RESULTS_S = 20.0
_STEP_S = 0.1
_COULD_NOT = "n"


def hand_checked(run: Run) -> None:
    """Ask for what only a hand can prove, show what came of it, and look at the unit again with that."""
    from usbwatch.capture.watched_nodes import sources
    from usbwatch.cli.hearing import deaf_sentence, heard, results
    from usbwatch.compare.hand_tasks import hand_tasks
    from usbwatch.show.handcheck_view import handcheck_view

    assert run.case.localised is not None
    checked = run.case.localised.checked
    bench = _bench(run.terminals)
    watched = sources(bench.tree, checked.capture)
    ears = heard(watched, bench)
    lacking = deaf_sentence(ears, checked.capture)
    tasks = hand_tasks(checked.capture, checked.profile, ears)
    found = () if lacking else results(tasks, watched, bench, _PATIENCE_S)
    said = [line(lacking, hang=2)] if lacking else handcheck_view(found, checked.profile, "the next capture", 79)
    shown_until_key(said, run.terminals, _RESULTS_S)
    seen = tuple(one.observation for one in found if one.observation is not None)
    if seen:
        run.look(more=lambda capture: replace(capture, observations=(*checked.capture.observations, *seen)))


def _bench(terminals: Terminals) -> Bench:
    from usbwatch.capture import LiveTree
    from usbwatch.capture.watched_nodes import LiveNodes, monotonic_ms, openable
    from usbwatch.cli.hearing import Bench

    asking = _Asking(terminals)

    def opened(watched: tuple[Source, ...]) -> AbstractContextManager[Nodes]:
        return _with_words(LiveNodes(watched), asking, terminals, monotonic_ms)

    return Bench(
        tree=LiveTree(),
        openable=openable,
        opened=opened,
        now_ms=monotonic_ms,
        speaks=True,
        pose=asking.pose,
        remark=asking.remark,
        forget=terminals.forget,
    )


class _Asking:
    """What is asked, and what was remarked since."""

    def __init__(self, terminals: Terminals) -> None:
        self._terminals = terminals
        self._lines: list[Line] = []
        self.stopped = False
        """Whether the person has had enough: what is still to be asked is not done."""

    def pose(self, ask: Ask, patience_s: int, *, speaks: bool) -> None:
        """Show what is asked for."""
        from usbwatch.show.handcheck_view import ask_view

        asked = [*ask_view(ask.function, ask.deed, patience_s, self._terminals.size()[0], speaks=speaks), BLANK]
        self._lines = asked
        foot = "Enter: done, nothing happens   n, Enter: cannot be done   Esc: end"
        self._terminals.show(
            lambda width, height: notice_page(self._lines, foot, width, height),
            ask_view(ask.function, ask.deed, patience_s, 79, speaks=speaks),
        )

    def remark(self, text: str) -> None:
        """Show one line more."""
        self._lines = [*self._lines, line(text, hang=2)]
        lines = self._lines
        self._terminals.show(lambda width, height: notice_page(lines, "", width, height), text)


class _Words:
    """The unit's nodes, and the person's word by the keys that count."""

    def __init__(self, nodes: Nodes, asking: _Asking, terminals: Terminals, now_ms: Callable[[], int]) -> None:
        self._nodes, self._asking, self._terminals, self._now_ms = nodes, asking, terminals, now_ms
        self._before = ""

    def wait(self, timeout_s: float) -> tuple[Happening, ...]:
        """What happened; the nodes before the word, for a press of Enter is both."""
        from usbwatch.capture.watching import Said

        happened = self._nodes.wait(min(timeout_s, _STEP_S))
        words = [Said(at_ms=self._now_ms(), done=False)] if self._asking.stopped else []
        for key in self._terminals.pressed():
            self._asking.stopped = self._asking.stopped or key == ESCAPE
            if key == ENTER:
                words.append(Said(at_ms=self._now_ms(), done=self._before != _COULD_NOT))
            self._before = "" if key == ENTER else key
        self._terminals.keep_up()
        return (*happened, *words)


@contextmanager
def _with_words(nodes: LiveNodes, asking: _Asking, terminals: Terminals, now_ms: Callable[[], int]) -> Iterator[Nodes]:
    with nodes:
        yield _Words(nodes, asking, terminals, now_ms)
