"""One run on a unit: it looks, shows, saves; then it waits for keys, for as long as nobody switches the unit off."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from usbwatch import __version__
from usbwatch.kit.signals import DONE, FAILED, Signals
from usbwatch.onboard.arguments import Asked
from usbwatch.onboard.foot import keys_words
from usbwatch.onboard.judging import Case, check_processor, judged_case, with_capture
from usbwatch.onboard.looking_page import Looking, looking_page, looking_words
from usbwatch.onboard.moments import Moments, since_boot_s, times_line
from usbwatch.onboard.saver import Job, Kept, Saver
from usbwatch.onboard.settling import settle
from usbwatch.onboard.sticks import FolderStick, PartitionStick
from usbwatch.onboard.terminals import Terminals
from usbwatch.onboard.warming import warm_up

if TYPE_CHECKING:
    from usbwatch.model import Capture, Step
    from usbwatch.onboard.answer import Answer
    from usbwatch.onboard.earlier import Earlier
    from usbwatch.show.lines import Line
    from usbwatch.stick.notes import Notes
    from usbwatch.stick.settings import Settings

__all__ = ["Run"]

_TICK_S = 1.0
_LAST_SAVING_S = 40.0
"""So long switching off waits for a stick that is being written."""
_CHAIN = re.compile(r"/usb\d+/([0-9.]+)")


class Run:
    """All that a run holds; the keys' own modules work on it."""

    def __init__(self, asked: Asked, terminals: Terminals, moments: Moments) -> None:
        self.asked, self.terminals, self.moments = asked, terminals, moments
        self.case = Case()
        self.earlier: tuple[Earlier, ...] = ()
        """What the stick held of the unit before; none once it is weighed with the rest."""
        self._found: tuple[Earlier, ...] = ()
        self.problem = ""
        """Why there is no answer, as one sentence."""
        self._settings, problem = _settings(asked)
        self.saver = _saver(asked, self._settings, problem)
        self._told = Kept(sentence="", well=True, done=True)
        self._sounded = ""

    @property
    def money(self) -> bool:
        """Whether costs may be shown."""
        return self._settings is not None and self._settings.money

    def go(self) -> None:
        """Look, and then do what the keys say until the unit is to be switched off."""
        from usbwatch.onboard.deeds import Off, done

        self.look()
        while True:
            self.show_answer()
            keys = self.terminals.wait(_TICK_S, self.saver.wake)
            self.terminals.put_back(keys[1:])
            try:
                if keys:
                    done(self, keys[0])
            except Off:
                self._finish_saving()
                return
            except Exception as error:  # noqa: BLE001 - no key may end the program
                self._tell_of_bug(error)
            self.saver.rest()
            self._tell_of_saving()

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
            self._sound("failed")

    def _look(self, steps: tuple[Step, ...], more: Callable[[Capture], Capture]) -> None:
        from usbwatch.cli.taking import local_time, taken

        self._at(0)
        warming = warm_up()
        if self.asked.root is None:
            settle()
        warming.join()
        self.moments = _first(self.moments, "settled")
        self._at(1)
        capture = more(taken(self.asked.root, None, "sysfs" if self.asked.root is None else None))
        self.moments = _first(self.moments, "captured")
        self._at(2)
        from usbwatch.show import Seen

        seen = Seen(capture=capture, when=local_time(capture.taken_at), steps=steps)
        key = f"look-{len(self.case.seen) + 1}"
        self.case = with_capture(self.case, seen, key)
        try:
            check_processor()
            self.judge()
        except Exception as error:
            self._save_unjudged(key, capture, error)
            raise
        self.show_answer()
        self.moments = _first(self.moments, "answered")
        self._save(key)

    def _save_unjudged(self, key: str, capture: Capture, error: Exception) -> None:
        """Whatever keeps the answer away, the capture is kept, and can be judged at the bench."""
        from usbwatch.onboard.papers import stem_of, unjudged_papers
        from usbwatch.safe import safe

        why = f"No answer was made on the unit: {safe(str(error), 400)} Judge the capture at the bench."
        moments = self.moments
        stem = stem_of(capture, datetime.now().astimezone())
        self.saver.want(Job(key=key, stem=stem, papers=lambda: unjudged_papers(capture, why, moments)))

    def _at(self, stage: int) -> None:
        looking = Looking(stage=stage, again=bool(self.case.seen))
        self.terminals.show(
            lambda width, height: looking_page(looking, width, height, __version__),
            looking_words(looking, __version__),
        )

    def judge(self) -> None:
        """Weigh all looks anew."""
        self.case = judged_case(self.case, self._settings.experience if self._settings else None)
        self.terminals.own_usb(_own_chains(self.case))

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

        kept = self.saver.kept().sentence
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
        kept = self.saver.kept()
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
        if self._clock_is_wrong():
            told.append("The unit's clock looks wrong: it stands before the day on which this stick was built.")
        if self.earlier:
            last = self.earlier[-1].seen.when or "a time not known"
            many = f"{len(self.earlier)} earlier captures" if len(self.earlier) > 1 else "an earlier capture"
            told.append(f"This stick has {many} of this unit, the last of {last}: press c to say what was done since.")
        return told

    def _clock_is_wrong(self) -> bool:
        if self._settings is None or not self.case.seen:
            return False
        return self.case.seen[-1].capture.taken_at[:10] < self._settings.built[:10]

    # Saving

    def notes(self, at: int = -1) -> Notes:
        """What goes with one of the looks, as things stand."""
        from usbwatch.capture.saved import saved_of
        from usbwatch.stick.notes import Notes

        seen = self.case.seen[at]
        before = self.case.names[: at % len(self.case.names)]
        return Notes(
            capture=saved_of(seen.capture).digest,
            label=self.case.label,
            profile=self.case.picked,
            after=tuple(name for one in before if (name := self.saver.name_of(one) or _file_name(one))),
            steps=seen.steps,
            answers=seen.answers,
            clock_wrong=self._clock_is_wrong(),
        )

    def _save(self, key: str) -> None:
        from usbwatch.onboard.papers import Look, papers_of, report_papers, stem_of

        assert self.case.localised is not None
        moments, money, localised = self.moments, self.money, self.case.localised
        answer = replace(self.answer(), kept="")
        look = Look(localised=localised, notes=self.notes(), answer=answer, moments=moments, money=money)
        first = key == "look-1"
        stem = stem_of(localised.checked.capture, datetime.now().astimezone())
        before = self._read_earlier if first else None
        self.saver.want(Job(key=key, stem=stem, papers=lambda: papers_of(look), before=before))
        # The report takes a while to make: what must not be lost is on the stick by then.
        self.saver.want(Job(key=key, stem=stem, papers=lambda: report_papers(look)))

    def save_notes(self) -> None:
        """Have what was noted of the latest look saved anew, beside what is there."""
        from usbwatch.onboard.papers import notes_paper

        notes = self.notes()
        self.saver.want(Job(key=self.case.names[-1], stem="", papers=lambda: [notes_paper(notes)]))

    def _read_earlier(self, folder: str) -> None:
        """In the saver's thread: what the stick has of this unit."""
        from usbwatch.onboard.earlier import earlier_looks

        self._found = earlier_looks(folder, self.case.seen[0].capture)

    def _take_earlier(self) -> None:
        """What the saver's thread found, taken over between two pages; the label that was given then holds on."""
        from usbwatch.safe import safe

        if not self._found:
            return
        self.earlier, self._found = self._found, ()
        labels = [one.notes.label for one in self.earlier if one.notes and one.notes.label]
        if labels and not self.case.label:
            self.case = replace(self.case, label=safe(labels[-1], 60))

    def _tell_of_saving(self) -> None:
        """Say what became of saving, where that is new, and sound it."""
        self._take_earlier()
        kept = self.saver.kept()
        if kept == self._told:
            return
        self._told = kept
        self.terminals.say(kept.sentence)
        if kept.well and kept.done:
            self.moments = _first(self.moments, "saved")
        if not kept.well or kept.done:
            self.terminals.say(times_line(self.moments))
            self._sound("done" if kept.well else "failed")

    def _sound(self, what: str) -> None:
        if self._sounded == what or not self.terminals.shows:
            return
        self._sounded = what
        signals = Signals(self.terminals.ring(), terminal=True, quiet=self.asked.quiet)
        pattern = DONE if what == "done" else FAILED
        threading.Thread(target=signals.sound, args=(pattern,), daemon=True).start()

    def _finish_saving(self) -> None:
        """Let a stick that is being written come to its end."""
        until = time.monotonic() + _LAST_SAVING_S
        while time.monotonic() < until and self.saver.kept().well and not self.saver.kept().done:
            self.show_answer()
            self.terminals.wait(_TICK_S, self.saver.wake)
            self.saver.rest()
        self._last_words()

    def _last_words(self) -> None:
        from usbwatch.onboard.choice_page import notice_page
        from usbwatch.show.lines import line

        lines = [line(self.saver.kept().sentence, hang=2), line("The unit is being switched off.")]
        self.terminals.show(lambda width, height: notice_page(lines, "", width, height), lines)


def _settings(asked: Asked) -> tuple[Settings | None, str]:
    """The stick's settings, or why there are none."""
    from usbwatch.errors import UsbwatchError
    from usbwatch.stick.settings import read

    try:
        return read(asked.settings), ""
    except UsbwatchError as error:
        return None, str(error).rstrip(".")


def _saver(asked: Asked, settings: Settings | None, problem: str) -> Saver:
    if asked.folder is not None:
        return Saver(FolderStick(folder=asked.folder))
    return Saver(PartitionStick(guid=settings.data_partition)) if settings is not None else Saver(None, problem)


def _first(moments: Moments, name: str) -> Moments:
    """The moments with one more, unless that has come before: they are of the first look."""
    return moments if getattr(moments, name) is not None else replace(moments, **{name: since_boot_s()})


def _file_name(name: str) -> str:
    return name if name.endswith(".json") else ""


def _own_chains(case: Case) -> frozenset[str]:
    """Port chains of the USB devices that are the unit's own by what was found."""
    assert case.localised is not None
    nodes = (one.node for one in case.localised.checked.findings.findings if one.node is not None)
    return frozenset(found[1] for node in nodes if (found := _CHAIN.search(node.location)))
