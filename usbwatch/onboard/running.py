"""One run on a unit: it looks, shows, saves; then it waits for keys, for as long as nobody switches the unit off."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from usbwatch import __version__
from usbwatch.onboard.arguments import Asked
from usbwatch.onboard.foot import keys_words
from usbwatch.onboard.judging import Case, OldProcessorError, can_weigh, judged_case, with_capture
from usbwatch.onboard.keeping import Keeping, saver_for
from usbwatch.onboard.looking_page import Looking, looking_page, looking_words
from usbwatch.onboard.moments import Moments, with_moment
from usbwatch.onboard.settling import settle
from usbwatch.onboard.terminals import Terminals
from usbwatch.onboard.warming import warm_up

if TYPE_CHECKING:
    from usbwatch.model import Capture, Step
    from usbwatch.onboard.answer import Answer
    from usbwatch.onboard.earlier import Earlier
    from usbwatch.show.lines import Line
    from usbwatch.stick.settings import Settings

__all__ = ["Off", "Run", "own_chains"]

_TICK_S = 1.0
_CHAIN = re.compile(r"/usb\d+/([0-9.]+)")


class Off(Exception):
    """The unit is to be switched off."""


class Run:
    """All that a run holds; the keys' own modules work on it."""

    def __init__(self, asked: Asked, terminals: Terminals, moments: Moments) -> None:
        self.asked, self.terminals, self.moments = asked, terminals, moments
        self.case = Case()
        self.earlier: tuple[Earlier, ...] = ()
        """What the stick held of the unit before; none once it is weighed with the rest."""
        self._earlier_said = (("", ""), "")
        """Name of a capture and profile, and what that earlier look comes to by it."""
        self.problem = ""
        """Why there is no answer, as one sentence."""
        self._settings, problem = _settings(asked)
        self.keeping = Keeping(self, saver_for(asked, self._settings, problem))

    @property
    def money(self) -> bool:
        """Whether costs may be shown."""
        return self._settings is not None and self._settings.money

    def go(self, done: Callable[[Run, str], None]) -> None:
        """Look, and then have ``done`` what the keys say, until one raises ``Off``."""
        self.look()
        while True:
            self.show_answer()
            keys = self.terminals.wait(_TICK_S, self.keeping.saver.wake)
            self.terminals.put_back(keys[1:])
            try:
                if keys:
                    done(self, keys[0])
            except Off:
                self.keeping.finish()
                return
            except Exception as error:  # noqa: BLE001 - no key may end the program
                self._tell_of_bug(error)
            self.keeping.saver.rest()
            self.keeping.tell()

    def _tell_of_bug(self, error: Exception) -> None:
        from usbwatch.errors import UsbwatchError
        from usbwatch.onboard.asking import shown_until_key
        from usbwatch.safe import safe
        from usbwatch.show.lines import line

        told = (
            str(error)
            if isinstance(error, (UsbwatchError, OSError))
            else f"this is a bug in usbwatch itself: {error!r}"
        )
        shown_until_key([line(f"That could not be done: {safe(told, 600)}", hang=2)], self.terminals)

    # Looking

    def look(
        self,
        steps: Sequence[Step] = (),
        more: Callable[[Capture], Capture] = lambda capture: capture,
    ) -> None:
        """Capture the unit, weigh it with what was seen before, and have it saved; ``more`` adds to the capture."""
        from usbwatch.errors import UsbwatchError
        from usbwatch.safe import safe

        try:
            self._look(tuple(steps), more)
            self.problem = ""
        except (UsbwatchError, OSError) as error:
            self.problem = f"There is no answer: {safe(str(error), 400)}"
        except Exception as error:  # noqa: BLE001 - there is nobody who could start it again
            self.problem = f"This is a bug in usbwatch itself: {type(error).__name__}: {safe(str(error), 400)}."
        self.terminals.forget()
        if self.problem:
            self.keeping.sound("failed")

    def _look(self, steps: tuple[Step, ...], more: Callable[[Capture], Capture]) -> None:
        from usbwatch.cli.taking import local_time, taken

        self._at(0)
        warming = warm_up() if can_weigh() else None
        if self.asked.root is None:
            settle()
        if warming is not None:
            warming.join()
        self.moments = with_moment(self.moments, "settled")
        self._at(1)
        capture = more(taken(self.asked.root, None, "sysfs" if self.asked.root is None else None))
        self.moments = with_moment(self.moments, "captured")
        self._at(2)
        from usbwatch.show import Seen

        seen = Seen(capture=capture, when=local_time(capture.taken_at), steps=steps)
        key = f"look-{len(self.case.seen) + 1}"
        self.case = with_capture(self.case, seen, key)
        try:
            if not can_weigh():
                raise OldProcessorError  # noqa: TRY301 - as every other thing that keeps the answer away
            self.judge()
        except Exception as error:
            self.keeping.save_unjudged(key, capture, error)
            raise
        self.show_answer()
        self.moments = with_moment(self.moments, "answered")
        self.keeping.save(key)

    def _at(self, stage: int) -> None:
        looking = Looking(stage=stage, again=bool(self.case.seen))
        self.terminals.show(
            lambda width, height: looking_page(looking, width, height, __version__),
            looking_words(looking, __version__),
        )

    def judge(self) -> None:
        """Weigh all looks anew."""
        self.case = judged_case(self.case, self._settings.experience if self._settings else None)
        self.terminals.own_usb(own_chains(self.case))

    # Showing

    def show_answer(self) -> None:
        """The answer as it stands; why there is none, where that is so."""
        from usbwatch.onboard.answer import answer_lines, answer_page
        from usbwatch.onboard.choice_page import notice_page

        if self.problem or self.case.localised is None:
            lines = self._problem_lines()
            foot = "c capture again  o power off"
            self.terminals.show(lambda width, height: notice_page(lines, foot, width, height), lines)
            return
        answer = self.answer()
        said = [*answer_lines(replace(answer, kept="")), *self._keys_line()]
        self.terminals.show(lambda width, height: answer_page(answer, width, height), said)

    def _problem_lines(self) -> list[Line]:
        from usbwatch.show.lines import BLANK, Style, line

        kept = self.keeping.saver.kept().sentence
        said = [line(self.problem or "There is no answer yet.", hang=2), *([BLANK, line(kept, hang=2)] if kept else [])]
        return [line((" X NO ANSWER ", Style.STAMP_WRONG)), BLANK, *said]

    @staticmethod
    def _keys_line() -> list[Line]:
        from usbwatch.show.lines import BLANK, line

        return [BLANK, line(f"Keys: {keys_words()}", hang=6)]

    def answer(self) -> Answer:
        """What the page is made from, as things stand."""
        from usbwatch.onboard.answer import Answer

        assert self.case.localised is not None
        checked = self.case.localised.checked
        kept = self.keeping.saver.kept()
        return Answer(
            checked=checked,
            money=self.money,
            label=self.case.label,
            looks=len(self.case.seen),
            notices=(*self._own_notices(), *self.case.notices, *checked.findings.notices),
            kept=kept.sentence,
            is_kept=kept.well,
            helpers=self.terminals.has_helper(),
        )

    def _own_notices(self) -> list[str]:
        told = []
        if self.clock_is_wrong():
            told.append("The unit's clock looks wrong: it stands before the day on which this stick was built.")
        if self.earlier:
            last = self.earlier[-1].seen.when or "a time not known"
            many = f"{len(self.earlier)} earlier captures" if len(self.earlier) > 1 else "an earlier capture"
            # What stands before a colon is all that a small screen has room for.
            found = f"{last} ({self._found_earlier().replace(': ', ', ')})" if self._found_earlier() else last
            told.append(f"This stick has {many} of this unit, the last of {found}: press c to say what was done since.")
        return told

    def _found_earlier(self) -> str:
        """What the last of the earlier looks comes to by the profile that is used now, "" where nothing can be said."""
        from usbwatch.cli.weighing import judged
        from usbwatch.show.verdict import sentence

        assert self.case.localised is not None
        profile = self.case.localised.checked.profile
        key = (self.earlier[-1].name, profile.id)
        if self._earlier_said[0] != key:
            (look,) = judged([self.earlier[-1].seen], profile, insisted=bool(self.case.picked))
            self._earlier_said = (key, sentence(look.findings) if look.findings is not None else "")
        return self._earlier_said[1]

    def clock_is_wrong(self) -> bool:
        """Whether the unit's clock stands before the day on which the stick was built."""
        if self._settings is None or not self.case.seen:
            return False
        return self.case.seen[-1].capture.taken_at[:10] < self._settings.built[:10]


def _settings(asked: Asked) -> tuple[Settings | None, str]:
    """The stick's settings, or why there are none."""
    from usbwatch.errors import UsbwatchError
    from usbwatch.stick.settings import read

    try:
        return read(asked.settings), ""
    except UsbwatchError as error:
        return None, str(error).rstrip(".")


def own_chains(case: Case) -> frozenset[str]:
    """Port chains of the USB devices that are the unit's own by what was found; of what is unseen nothing is known."""
    from usbwatch.model import Verdict

    assert case.localised is not None
    found_there = (one for one in case.localised.checked.findings.findings if one.verdict is not Verdict.UNSEEN)
    nodes = (one.node for one in found_there if one.node is not None)
    return frozenset(found[1] for node in nodes if (found := _CHAIN.search(node.location)))
