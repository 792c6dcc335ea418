"""What was noted of a unit on the unit itself: ``NAME.unit.json`` beside the capture ``NAME.json``, on the stick.

A capture holds what firmware and kernel tell, what a person's hand proved and what a watch saw. What a person did and
said besides stands here, and goes into the casebook with the capture. A later file of the same capture
(``NAME.unit-2.json``) takes the place of an earlier one, and nothing is ever overwritten.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from usbwatch.errors import BadNotes
from usbwatch.model import Answer, Step, StepKind

__all__ = ["ENDING", "FORMAT", "LARGEST_FILE", "SCHEMA", "Notes", "capture_of", "oldest_first", "parsed", "to_json"]

FORMAT = "usbwatch-unit-notes"
SCHEMA = 1
ENDING = ".unit"
"""Between the capture's name and ``.json``."""
LARGEST_FILE = 100_000
"""Bytes."""

_MOST = 200
"""Steps, answers or captures that one file may name."""
_ID = re.compile(r"[a-z0-9]+([-:][a-z0-9]+)*\Z")
_NAME = re.compile(r"[a-z0-9][a-z0-9-]*\.json\Z")
_DIGEST = re.compile(r"sha256:[0-9a-f]{64}\Z")
_LONGEST = 200
_OURS = re.compile(r"(?P<stem>[a-z0-9][a-z0-9-]*)\.unit(-(?P<number>[0-9]{1,4}))?\.json\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Notes:
    """What goes with one capture."""

    capture: str
    """Digest of the capture, ``sha256:…``."""
    label: str = ""
    """The shop's own number for the unit, as it was typed on the unit; "" where none was."""
    profile: str = ""
    """Id of the profile that a person picked; "" where it was chosen by what firmware calls the unit."""
    after: tuple[str, ...] = ()
    """Names of the captures on the stick that it was weighed with, oldest first."""
    steps: tuple[Step, ...] = ()
    """What was done to the unit after the last of those and before this one."""
    answers: tuple[Answer, ...] = ()
    """What a person established beside it."""
    clock_wrong: bool = False
    """Whether the unit's clock stood before the day on which the stick was built."""


def to_json(notes: Notes) -> str:
    """The document, as text that ends with a line feed."""
    told = asdict(notes) | {"steps": [{"kind": step.kind.value, "of": step.of} for step in notes.steps]}
    return json.dumps({"format": FORMAT, "schema": SCHEMA, **told}, indent=1, ensure_ascii=True) + "\n"


def capture_of(name: str) -> tuple[str, int] | None:
    """The capture that a file of notes is about, and which of its files it is; None for another sort of name.

    >>> capture_of("larch-13-2026-03-02-091400.unit-2.json")
    ('larch-13-2026-03-02-091400.json', 2)
    """
    found = _OURS.match(name)
    return None if found is None else (f"{found['stem']}.json", int(found["number"] or 1))


def oldest_first(captures: Mapping[str, tuple[str, tuple[str, ...]]]) -> list[str]:
    """Names of captures in the order in which they were taken; of each, its time and the names of ``Notes.after``.

    By their times, but that none comes before what it was weighed with: a unit's clock may go wrong.

    >>> oldest_first({"b.json": ("2011-01-01T00:00:09Z", ("a.json",)), "a.json": ("2026-03-02T09:14:00Z", ())})
    ['a.json', 'b.json']
    """
    ordered: list[str] = []
    begun: set[str] = set()
    waiting = sorted(captures, key=lambda name: (captures[name][0], name), reverse=True)
    while waiting:
        name = waiting[-1]
        before = [one for one in captures[name][1] if one in captures and one not in begun]
        if name in begun or not before:
            waiting.pop()
            if name not in ordered:
                ordered.append(name)
        begun.add(name)
        waiting += reversed(before)
    return ordered


def parsed(data: bytes, path: str) -> Notes:
    """The notes in a file's content; raises ``BadNotes``, with one sentence, for whatever is no such document."""
    reading = _Reading(path, _document(data, path))
    return Notes(
        capture=reading.text("capture", _DIGEST),
        label=reading.text("label"),
        profile=reading.text("profile", _ID, empty=True),
        after=tuple(reading.item(one, _NAME, "after") for one in reading.items("after")),
        steps=tuple(reading.step(one) for one in reading.items("steps")),
        answers=tuple(reading.answer(one) for one in reading.items("answers")),
        clock_wrong=reading.flag("clock_wrong"),
    )


def _document(data: bytes, path: str) -> dict[str, Any]:
    if len(data) > LARGEST_FILE:
        raise BadNotes(path, f"is larger than {LARGEST_FILE} bytes", _REMEDY)
    try:
        document = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise BadNotes(path, "is no JSON document", _REMEDY) from error
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise BadNotes(path, f'is no notes of a unit: its "format" is not "{FORMAT}"', _REMEDY)
    if document.get("schema") != SCHEMA or isinstance(document.get("schema"), bool):
        raise BadNotes(path, f'has a "schema" that this usbwatch does not know (it knows {SCHEMA})', _NEWER)
    return document


_REMEDY = "take in the capture beside it by its own name"
_NEWER = "take it in with the usbwatch that the stick was built with"


class _Reading:
    """The fields of a document, each checked."""

    def __init__(self, path: str, document: dict[str, Any]) -> None:
        self._path, self._document = path, document

    def _refuse(self, key: str, what: str) -> BadNotes:
        return BadNotes(self._path, f'"{key}" has to be {what}', _REMEDY)

    def text(self, key: str, pattern: re.Pattern[str] | None = None, *, empty: bool = False) -> str:
        value = self._document.get(key, "")
        if empty and value == "":
            return ""
        return self.item(value, pattern, key)

    def item(self, value: object, pattern: re.Pattern[str] | None, key: str) -> str:
        if not isinstance(value, str) or len(value) > _LONGEST or (pattern and not pattern.match(value)):
            raise self._refuse(key, "a text of its own form")
        return value

    def items(self, key: str) -> list[Any]:
        value = self._document.get(key, [])
        if not isinstance(value, list) or len(value) > _MOST:
            raise self._refuse(key, f"a list of at most {_MOST}")
        return value

    def flag(self, key: str) -> bool:
        value = self._document.get(key, False)
        if not isinstance(value, bool):
            raise self._refuse(key, "true or false")
        return value

    def step(self, value: object) -> Step:
        kind, of = (value.get("kind"), value.get("of", "")) if isinstance(value, dict) else (None, "")
        kinds = {one.value: one for one in StepKind}
        if kind not in kinds or not isinstance(of, str) or (of and (len(of) > _LONGEST or not _ID.match(of))):
            raise self._refuse("steps", f"steps, each with a kind ({', '.join(kinds)}) and what it was done to")
        return Step(kind=kinds[kind], of=of)

    def answer(self, value: object) -> Answer:
        told = value if isinstance(value, dict) else {}
        check, yes, again = told.get("check"), told.get("yes"), told.get("again", False)
        named = isinstance(check, str) and len(check) <= _LONGEST and _ID.match(check)
        if not named or not isinstance(yes, bool) or not isinstance(again, bool):
            raise self._refuse("answers", "answers, each with a check, and yes (and again) as true or false")
        return Answer(check=str(check), yes=yes, again=again)
