"""What is kept of one look: the capture, a text to read, the notes for the casebook, the report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from usbwatch.onboard.answer import Answer, answer_lines
from usbwatch.onboard.moments import Moments, times_line
from usbwatch.onboard.putting import Paper

if TYPE_CHECKING:
    from usbwatch.model import Capture
    from usbwatch.show import Localised
    from usbwatch.stick.notes import Notes

__all__ = ["LATER", "Look", "later_papers", "notes_paper", "papers_of", "report_papers", "stem_of", "unjudged_papers"]

LATER = ".later"
"""What the text and the report have in their names that were made after something was noted of a saved capture."""
_WIDTH = 72


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What the files of one look are made from."""

    localised: Localised
    notes: Notes
    answer: Answer
    """As on the screen, but for where it is kept."""
    moments: Moments
    money: bool


def stem_of(capture: Capture, moment: datetime) -> str:
    """The name of a capture's files, without an ending, by usbwatch's own naming."""
    from usbwatch.capture.naming import default_name

    return default_name(capture.unit, moment).removesuffix(".json")


def unjudged_papers(capture: Capture, why: str, moments: Moments) -> Sequence[Paper]:
    """What is kept of a capture of which no answer could be made: it can be judged at the bench."""
    from usbwatch.capture import to_json
    from usbwatch.show import plain
    from usbwatch.show.lines import line

    content = to_json(capture).encode("utf-8")
    told = plain([line(why, hang=2)], _WIDTH, ascii_only=True)
    return (
        Paper(ending=".json", content=lambda _: content),
        Paper(ending=".txt", content=lambda stem: _with_summary(told, capture, f"{stem}.json", moments)),
    )


def papers_of(look: Look) -> Sequence[Paper]:
    """What must not be lost of a look, the capture first."""
    from usbwatch.capture import to_json

    capture = to_json(look.localised.checked.capture).encode("utf-8")
    return (
        Paper(ending=".json", content=lambda _: capture),
        Paper(ending=".txt", content=lambda stem: _text(look, f"{stem}.json")),
        notes_paper(look.notes),
    )


def report_papers(look: Look) -> Sequence[Paper]:
    """The report; nothing where it cannot be made."""
    report = _report(look)
    return [Paper(ending=".html", content=lambda _: report)] if report else []


def later_papers(look: Look) -> Sequence[Paper]:
    """What is kept when something was noted after a look was saved: the notes, and the answer as it is now."""
    report = _report(look)
    return [
        notes_paper(look.notes),
        Paper(ending=f"{LATER}.txt", content=lambda stem: _text(look, f"{stem}.json")),
        *([Paper(ending=f"{LATER}.html", content=lambda _: report)] if report else []),
    ]


def notes_paper(notes: Notes) -> Paper:
    """The notes alone."""
    from usbwatch.stick.notes import ENDING, to_json

    content = to_json(notes).encode("ascii")
    return Paper(ending=f"{ENDING}.json", content=lambda _: content)


def _text(look: Look, name: str) -> bytes:
    """The same words as on the screen, then what was seen and what not."""
    from usbwatch.show import plain

    told = plain(answer_lines(look.answer), _WIDTH, ascii_only=True)
    return _with_summary(told, look.localised.checked.capture, name, look.moments)


def _with_summary(told: str, capture: Capture, name: str, moments: Moments) -> bytes:
    """ASCII, lines ended as any system reads them."""
    from usbwatch.kit.summary import summary

    above = f"{told}\n{times_line(moments)}\n\n".replace("\n", "\r\n")
    return f"{above}{summary(capture, name, 'usbwatch unit import')}".encode("ascii")


def _report(look: Look) -> bytes:
    """The report as ``usbwatch report`` makes it: private identifiers removed. b"" where that fails."""
    from usbwatch.capture.saved import saved_of
    from usbwatch.cli.taking import local_time, now
    from usbwatch.show.report.html import report_html
    from usbwatch.show.report.making import made
    from usbwatch.show.report.privacy import private
    from usbwatch.show.report.source import Asked, Source

    try:
        digests = tuple(saved_of(one.capture).digest for one in look.localised.seen)
        source = Source(localised=look.localised, digests=digests)
        asked = Asked(made_at=now(), local=local_time, money=look.money)
        return report_html(made(private(source), asked)).encode("utf-8")
    except Exception:  # noqa: BLE001 - the report is an extra; the capture is what must be saved
        return b""
