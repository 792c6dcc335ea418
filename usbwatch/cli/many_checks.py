"""Checks of many captures in one run: by all cores, each written as soon as it and those before it are there.

Below the pages stands what each came to in a few words, what is wrong first.

As JSON it is one document, ``usbwatch-check-list``, written piece by piece: what has been checked is never held until
the end. A capture that cannot be checked is told in its place, and the next one is checked.
"""

from __future__ import annotations

import contextlib
import io
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, TextIO

import click

from usbwatch.cli import exits
from usbwatch.cli.one_check import CheckRequest, code_of, document_of, page_of, result_of
from usbwatch.safe import typed

if TYPE_CHECKING:
    from usbwatch.show.brief_view import Brief
    from usbwatch.show.json_values import Json
    from usbwatch.show.verdict import Outcome

__all__ = ["check_many"]

_HEAD = '{\n  "format": "usbwatch-check-list",\n  "schema": 1,\n  "checks": ['
_FOOT = "\n  ]\n}\n"
"""As ``json_text`` sets a whole document."""
_INDENT = "    "


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """What is to be written of one capture."""

    said: str
    """For standard error; "" where it has been written already."""
    text: str
    code: int
    brief: Brief | None = None
    """For the list at the end of the pages."""


def check_many(paths: Sequence[str], request: CheckRequest) -> int:
    """Check one after another, write what comes of each, and return the code of the worst."""
    from usbwatch.cli.cores import in_order, workers_for

    workers = 0 if "-" in paths else workers_for(len(paths))  # standard input is this process's alone
    work = partial(_told_apart if workers else _told, request)
    with contextlib.closing(in_order(work, paths, workers)) as found:
        codes: set[int] = set()
        in_all = _InAll()
        for number, one in enumerate(found, 1):
            _write(one, number, paths, request)
            codes.add(one.code)
            in_all.add(one.brief)
    _write_end(in_all, request)
    return exits.worst(codes)


class _InAll:
    """What all have come to so far: how many of each sort, and the first of each."""

    def __init__(self) -> None:
        self.counts: Counter[Outcome | None] = Counter()
        self.named: list[Brief] = []

    def add(self, brief: Brief | None) -> None:
        """One more."""
        from usbwatch.show.brief_view import MOST_NAMED

        if brief is not None:
            self.counts[brief.outcome] += 1
            if self.counts[brief.outcome] <= MOST_NAMED:
                self.named.append(brief)


def _write_end(in_all: _InAll, request: CheckRequest) -> None:
    from usbwatch.cli.screen import show, write

    if request.as_json:
        write(_FOOT)
        return
    from usbwatch.show.brief_view import in_all_view

    show(in_all_view(in_all.counts, in_all.named))


def _write(one: _Told, number: int, paths: Sequence[str], request: CheckRequest) -> None:
    from usbwatch.cli.screen import show, write
    from usbwatch.show.check_view import which_capture_view

    if one.said:
        write(one.said, err=True)
    if request.as_json:
        write((_HEAD if number == 1 else ",") + one.text)
    elif one.text:
        show(which_capture_view(paths[number - 1], number, len(paths)))
        write(one.text)


def _told_apart(request: CheckRequest, path: str) -> _Told:
    """The same in a worker, whose standard error is nobody's: what it says is handed on, in its place."""
    with contextlib.redirect_stderr(_Held(sys.stderr)) as held:
        told = _told(request, path)
    return replace(told, said=held.getvalue())


class _Held(io.StringIO):
    """A stream that keeps what is written, and has the looks of another."""

    def __init__(self, like: TextIO | None) -> None:
        super().__init__()
        self._like = like

    @property
    def encoding(self) -> str:  # type: ignore[override] # typeshed has an attribute, and Python a property
        """The other's."""
        return getattr(self._like, "encoding", None) or "ascii"

    def isatty(self) -> bool:
        """Whether the other is a terminal."""
        return self._like is not None and self._like.isatty()


def _told(request: CheckRequest, path: str) -> _Told:
    """What comes of one capture; what is to be said of it goes to standard error at once."""
    from usbwatch.cli.screen import say
    from usbwatch.errors import UsbwatchError
    from usbwatch.show.json_values import plain_value

    try:
        return _well(request, path)
    except UsbwatchError as error:
        problem, code = str(error), error.exit_code
    except click.UsageError as error:
        problem, code = f"capture {typed(path)}: {error.format_message()}", exits.USAGE
    except BrokenPipeError:
        raise
    except Exception as error:  # noqa: BLE001 - thousands of others are not given up for one, even by our mistake
        what = f"this is a bug in usbwatch itself: {type(error).__name__}: {error}"
        advice = f"Run usbwatch --debug check {typed(path)}, and report what that prints."
        problem, code = f"capture {typed(path)}: {what}. {advice}", exits.BUG
    say(f"usbwatch: {problem}")
    if request.as_json:
        return _Told(said="", text=_element(path, {"problem": plain_value(problem)}), code=code)
    from usbwatch.show.brief_view import Brief

    return _Told(said="", text="", code=code, brief=Brief(path=path, outcome=None))


def _well(request: CheckRequest, path: str) -> _Told:
    from usbwatch.cli.screen import rendered

    result = result_of(path, request)
    if request.as_json:
        return _Told(said="", text=_element(path, document_of(result)), code=code_of(result))
    from usbwatch.show.brief_view import brief_of

    text, brief = rendered(page_of(result)), brief_of(path, result.checked)
    return _Told(said="", text=text, code=code_of(result), brief=brief)


def _element(path: str, told: dict[str, Json]) -> str:
    """One element of the list, set as in the whole document."""
    from usbwatch.show import json_text
    from usbwatch.show.json_values import plain_value

    text = json_text({"path": plain_value(path), **told})
    return "\n" + _INDENT + text.rstrip("\n").replace("\n", "\n" + _INDENT)
