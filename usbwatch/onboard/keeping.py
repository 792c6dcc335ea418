"""What is kept of a run: each look on the stick, what was noted of it, and how a person is told of that."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Protocol

from usbwatch.kit.signals import DONE, FAILED, Signals
from usbwatch.onboard.moments import Moments, times_line, with_moment
from usbwatch.onboard.saver import Job, Kept, Saver
from usbwatch.onboard.sticks import FolderStick, PartitionStick

if TYPE_CHECKING:
    from usbwatch.model import Capture
    from usbwatch.onboard.answer import Answer
    from usbwatch.onboard.arguments import Asked
    from usbwatch.onboard.earlier import Earlier
    from usbwatch.onboard.judging import Case
    from usbwatch.onboard.papers import Look
    from usbwatch.onboard.terminals import Terminals
    from usbwatch.stick.notes import Notes
    from usbwatch.stick.settings import Settings

__all__ = ["Keepable", "Keeping", "saver_for"]

_TICK_S = 1.0
_LAST_SAVING_S = 40.0
"""So long switching off waits for a stick that is being written."""


class Keepable(Protocol):
    """What of a run is kept, and what says so."""

    asked: Asked
    terminals: Terminals
    moments: Moments
    case: Case
    earlier: tuple[Earlier, ...]

    @property
    def money(self) -> bool:
        """Whether costs may be shown."""

    def answer(self) -> Answer:
        """What the page is made from, as things stand."""

    def show_answer(self) -> None:
        """The answer as it stands, on the screen."""

    def clock_is_wrong(self) -> bool:
        """Whether the unit's clock stands before the day on which the stick was built."""


class Keeping:
    """The saving of one run; it takes what is to be saved from the run, as that stands when it is asked to."""

    def __init__(self, run: Keepable, saver: Saver) -> None:
        self._run, self.saver = run, saver
        self._found: tuple[Earlier, ...] = ()
        self._told = Kept(sentence="", well=True, done=True)
        self._sounded = ""

    def notes(self, at: int = -1) -> Notes:
        """What goes with one of the looks, as things stand."""
        from usbwatch.capture.saved import saved_of
        from usbwatch.stick.notes import Notes

        seen = self._run.case.seen[at]
        before = self._run.case.names[: at % len(self._run.case.names)]
        return Notes(
            capture=saved_of(seen.capture).digest,
            label=self._run.case.label,
            profile=self._run.case.picked,
            after=tuple(name for one in before if (name := self.saver.name_of(one) or _file_name(one))),
            steps=seen.steps,
            answers=seen.answers,
            clock_wrong=self._run.clock_is_wrong(),
        )

    def _look(self) -> Look:
        """The latest look, as it stands."""
        from usbwatch.onboard.papers import Look

        assert self._run.case.localised is not None
        return Look(
            localised=self._run.case.localised,
            notes=self.notes(),
            answer=replace(self._run.answer(), kept=""),
            moments=self._run.moments,
            money=self._run.money,
        )

    def save(self, key: str) -> None:
        """Have the latest look saved, under a name that ``key`` stands for from now on."""
        from usbwatch.onboard.papers import papers_of, report_papers, stem_of

        look = self._look()
        first = key == "look-1"
        stem = stem_of(look.localised.checked.capture, datetime.now().astimezone())
        before = self._read_earlier if first else None
        self.saver.want(Job(key=key, stem=stem, papers=lambda: papers_of(look), before=before))
        # The report takes a while to make: what must not be lost is on the stick by then.
        self.saver.want(Job(key=key, stem=stem, papers=lambda: report_papers(look)))

    def save_notes(self) -> None:
        """Have what was noted of the latest look saved anew, beside what is there, with the answer as it is now."""
        from usbwatch.onboard.papers import LATER, later_papers

        look = self._look()
        beside = f"Beside it are {LATER}.txt and {LATER}.html, with what was noted since."
        self.saver.want(Job(key=self._run.case.names[-1], stem="", papers=lambda: later_papers(look), beside=beside))

    def _read_earlier(self, folder: str) -> None:
        """In the saver's thread: what the stick has of this unit."""
        from usbwatch.onboard.earlier import earlier_looks

        self._found = earlier_looks(folder, self._run.case.seen[0].capture)

    def _take_earlier(self) -> None:
        """What the saver's thread found, taken over between two pages; the label that was given then holds on."""
        from usbwatch.safe import safe

        if not self._found:
            return
        self._run.earlier, self._found = self._found, ()
        labels = [one.notes.label for one in self._run.earlier if one.notes and one.notes.label]
        if labels and not self._run.case.label:
            self._run.case = replace(self._run.case, label=safe(labels[-1], 60))

    def tell(self) -> None:
        """Say what became of saving, where that is new, and sound it."""
        self._take_earlier()
        kept = self.saver.kept()
        if kept == self._told:
            return
        self._told = kept
        self._run.terminals.say(kept.sentence)
        if kept.well and kept.done:
            self._run.moments = with_moment(self._run.moments, "saved")
        if not kept.well or kept.done:
            self._run.terminals.say(times_line(self._run.moments))
            self.sound("done" if kept.well else "failed")

    def sound(self, what: str) -> None:
        """Beep for ``done`` or ``failed``, unless that was the last thing that was sounded."""
        if self._sounded == what or not self._run.terminals.shows:
            return
        self._sounded = what
        signals = Signals(self._run.terminals.ring(), terminal=True, quiet=self._run.asked.quiet, blinks=False)
        pattern = DONE if what == "done" else FAILED
        threading.Thread(target=signals.sound, args=(pattern,), daemon=True).start()

    def finish(self) -> None:
        """Let a stick that is being written come to its end."""
        until = time.monotonic() + _LAST_SAVING_S
        while time.monotonic() < until and self.saver.kept().well and not self.saver.kept().done:
            self._run.show_answer()
            self._run.terminals.wait(_TICK_S, self.saver.wake)
            self.saver.rest()
        self._last_words()

    def _last_words(self) -> None:
        from usbwatch.onboard.choice_page import notice_page
        from usbwatch.show.lines import line

        lines = [line(self.saver.kept().sentence, hang=2), line("The unit is being switched off.")]
        self._run.terminals.show(lambda width, height: notice_page(lines, "", width, height), lines)

    def save_unjudged(self, key: str, capture: Capture, error: Exception) -> None:
        """Whatever keeps the answer away, the capture is kept, and can be judged at the bench."""
        from usbwatch.onboard.papers import stem_of, unjudged_papers
        from usbwatch.safe import safe

        why = f"No answer was made on the unit: {safe(str(error), 400)} Judge the capture at the bench."
        moments = self._run.moments
        stem = stem_of(capture, datetime.now().astimezone())
        papers = lambda: unjudged_papers(capture, why, moments)  # noqa: E731 - made in the saver's thread
        self.saver.want(Job(key=key, stem=stem, papers=papers, beside="Beside it is .txt to read."))


def saver_for(asked: Asked, settings: Settings | None, problem: str) -> Saver:
    """What saves on the stick; without settings it only says why it cannot (``problem``)."""
    if asked.folder is not None:
        return Saver(FolderStick(folder=asked.folder))
    return Saver(PartitionStick(guid=settings.data_partition)) if settings is not None else Saver(None, problem)


def _file_name(name: str) -> str:
    return name if name.endswith(".json") else ""
