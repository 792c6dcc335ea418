"""What the commands of the casebook refuse: one sentence on standard error, nothing recorded, never a traceback."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from support.hostile import HOSTILE
from support.make_readme import ROOT
from support.unit_bench import Bench

from usbwatch.casebook.packing import LARGEST_DOCUMENT


@pytest.fixture
def bench(quick_bench: Bench) -> Bench:
    """On the bench LB-0001, its keyboard lost; closed LB-0002; LB-0003 of which nothing is known."""
    quick_bench.well("open", "LB-0001", "lost.json", "--at", "2026-03-02 09:00")
    quick_bench.well("step", "LB-0001", "reseat:flex", "--at", "2026-03-02 09:30")
    quick_bench.well("amend", "LB-0001", "3", "--set", "minutes=9", "--reason", "misread")
    quick_bench.well("open", "LB-0002", "whole.json", "--anyway", "--at", "2026-03-02 09:00")
    quick_bench.well("close", "LB-0002", "repaired", "--at", "2026-03-03 09:00")
    quick_bench.well("open", "LB-0003")
    return quick_bench


_UNKNOWN = {
    "capture": ["capture", "LB-0099", "lost.json"],
    "step": ["step", "LB-0099", "reseat:flex"],
    "answer": ["answer", "LB-0099", "caps-light=no"],
    "note": ["note", "LB-0099", "wet"],
    "attach": ["attach", "LB-0099", "lost.json"],
    "amend": ["amend", "LB-0099", "1", "--withdraw", "--reason", "x"],
    "baseline": ["baseline", "LB-0099"],
    "close": ["close", "LB-0099", "repaired"],
    "reopen": ["reopen", "LB-0099"],
    "show": ["show", "LB-0099"],
    "get": ["get", "LB-0099", "2", "-o", "out.json"],
}


@pytest.mark.parametrize("words", _UNKNOWN.values(), ids=_UNKNOWN.keys())
def test_a_unit_that_is_not_in_the_book(bench: Bench, words: list[str]) -> None:
    assert bench.refused(3, *words) == (
        "usbwatch: no unit of the casebook is called LB-0099; usbwatch unit list shows those on the bench."
    )


def test_a_unit_that_is_nearly_called_so_is_named(bench: Bench) -> None:
    assert "did you mean LB-0003?" in bench.refused(3, "show", "0003")


_OUT_OF_PLACE = {
    "a label that is taken": (["open", "lb-0001", "whole.json", "--anyway"], "there is a unit lb-0001 in the book"),
    "a label that is taken, by an amendment": (
        ["amend", "LB-0001", "1", "--set", "label=lb-0002", "--reason", "x"],
        "there is a unit LB-0002 in the book",
    ),
    "no label": (["open", "  "], "a label has 1 to 60 characters"),
    "captures of several units": (["open", "LB-0009", "lost.json", "other.json"], "not of one unit (serial"),
    "a broken capture": (["open", "LB-0009", "broken.json"], "broken.json"),
    "a capture that is not there": (["capture", "LB-0001", "nothing.json"], "nothing.json"),
    "a folder for a capture": (["capture", "LB-0001", "tree"], "is a folder"),
    "a model that nobody knows": (["open", "LB-0009", "--model", "no-such"], "no profile named no-such"),
    "a capture of another unit": (
        ["capture", "LB-0001", "other.json"],
        "of another unit than the one before (serial 'LG-0002-DEMO' there, 'LG-0003-DEMO' here)",
    ),
    "a capture of who knows what": (
        ["capture", "LB-0001", "nameless.json"],
        "the capture does not say what it is of, and the unit calls itself Plover S",
    ),
    "a capture of a closed unit": (["capture", "LB-0002", "whole.json"], "usbwatch unit reopen LB-0002"),
    "a step on a closed unit": (["step", "LB-0002", "reseat:flex"], "unit LB-0002 is closed (repaired)"),
    "an answer on a closed unit": (["answer", "LB-0002", "caps-light=no"], "unit LB-0002 is closed (repaired)"),
    "a baseline of a closed unit": (["baseline", "LB-0002"], "unit LB-0002 is closed (repaired)"),
    "closing it twice": (["close", "LB-0002", "returned"], "unit LB-0002 is closed (repaired)"),
    "a return of what never left": (["reopen", "LB-0001"], "unit LB-0001 is on the bench"),
    "a step before anything is known": (["step", "LB-0003", "reseat:flex"], "neither a model nor a capture"),
    "an answer before anything is known": (["answer", "LB-0003", "caps-light=no"], "neither a model nor a capture"),
    "a baseline before anything is known": (["baseline", "LB-0003"], "neither a model nor a capture"),
    "a baseline after a step": (["baseline", "LB-0001"], "something was done to unit LB-0001 since its last capture"),
    "a step before it came in": (
        ["step", "LB-0001", "reseat:flex", "--at", "2026-03-01"],
        "2026-03-01T00:00:00Z is before unit LB-0001 came in (2026-03-02T09:00:00Z)",
    ),
    "a return before it left": (
        ["reopen", "LB-0002", "--at", "2026-03-02 12:00"],
        "is before unit LB-0002 was last closed or reopened (2026-03-03T09:00:00Z)",
    ),
    "an entry that is not there": (
        ["amend", "LB-0001", "99", "--withdraw", "--reason", "x"],
        "unit LB-0001 has no entry 99 that can be amended",
    ),
    "an amendment of an amendment": (
        ["amend", "LB-0001", "4", "--withdraw", "--reason", "x"],
        "instead of an amendment amend the entry again",
    ),
    "withdrawing the first entry": (
        ["amend", "LB-0001", "1", "--withdraw", "--reason", "x"],
        "the entry that opened the unit cannot be withdrawn; close the unit instead",
    ),
    "amending to a model that nobody knows": (
        ["amend", "LB-0001", "1", "--set", "model=no-such", "--reason", "x"],
        "no profile named no-such",
    ),
    "a document of an entry without one": (
        ["get", "LB-0001", "3", "-o", "out.json"],
        "entry 3 of unit LB-0001 holds neither a capture nor a file",
    ),
    "a document over a file": (["get", "LB-0001", "2", "-o", "whole.json"], "choose another name with -o"),
    "a file that is not there": (["attach", "LB-0001", "no.jpg"], "no.jpg cannot be read (No such file"),
    "a folder for a file": (["attach", "LB-0001", "tree"], "tree cannot be read (Is a directory)"),
    "one file of two": (["attach", "LB-0001", "lost.json", "no.jpg"], "no.jpg cannot be read"),
    "a file at intake": (["open", "LB-0009", "--attach", "no.jpg"], "no.jpg cannot be read"),
}


@pytest.mark.parametrize(("words", "sentence"), _OUT_OF_PLACE.values(), ids=_OUT_OF_PLACE.keys())
def test_what_has_no_place_in_the_history(bench: Bench, words: list[str], sentence: str) -> None:
    assert sentence in bench.refused(3, *words)


_AMEND = ["amend", "LB-0001"]
_WHY = ["--reason", "x"]
_MISTYPED = {
    "a kind of step that is none": (["step", "LB-0001", "turn:flex"], "does not begin with one of: reseat, swap"),
    "a step on nothing": (["step", "LB-0001", "swap"], "'swap' is not of the form swap:PART."),
    "a step on a part that is none": (["step", "LB-0001", "fit:top-cas"], "Did you mean top-case?"),
    "a subassembly for a link": (["step", "LB-0001", "reseat:top-case"], "has no link 'top-case'. It has: flex."),
    "a part of drain": (["step", "LB-0001", "drain:flex"], "takes no part"),
    "a step with a number": (["step", "LB-0001", "2:drain"], "steps are recorded in their order"),
    "the first part back too soon": (["step", "LB-0001", "back:top-case"], "nothing was put in for 'top-case'"),
    "a grade that is none": (["step", "LB-0001", "swap:top-case", "--part", "old"], "'old' is not one of"),
    "a cost below nothing": (["step", "LB-0001", "swap:top-case", "--cost", "-3"], "-3 is not in the range"),
    "minutes that are no number": (
        ["step", "LB-0001", "reseat:flex", "--minutes", "ten"],
        "'ten' is not a valid whole number",
    ),
    "a check that is none": (["answer", "LB-0001", "caps-lite=yes"], "no hand check 'caps-lite'. Did you mean caps-li"),
    "an answer that is none": (["answer", "LB-0001", "caps-light=maybe"], "not of the form CHECK=yes or CHECK=no"),
    "no answer": (["answer", "LB-0001"], "Missing argument"),
    "an empty note": (["note", "LB-0001", " "], "there is nothing in it"),
    "liquid perhaps": (["open", "LB-0009", "--liquid", "perhaps"], "'perhaps' is neither yes nor no"),
    "a capture and a tree": (["capture", "LB-0001", "lost.json", "--root", "tree"], "are for capturing now"),
    "standard input twice": (["capture", "LB-0001", "-", "-"], "only one CAPTURE can be standard input"),
    "an ending that is none": (["close", "LB-0001", "mended"], "'mended' is not one of"),
    "a cause that cannot be": (["close", "LB-0001", "repaired", "--cause", "keybord"], "Did you mean keyboard"),
    "a cause of several ways": (
        ["close", "LB-0001", "repaired", "--cause", "flex"],
        "'flex' can fail in several ways; say which: open:flex",
    ),
    "a part's name": (
        ["close", "LB-0001", "repaired", "--cause", "Top case"],
        "whole:top-case (Top case as a whole",
    ),
    "no ending": (["close", "LB-0001"], "Choose from: repaired, sold-as-is, parted-out, returned"),
    "half a coin": (["note", "LB-0001", "x", "--cost", "59.90"], "'59.90' is not a valid whole number"),
    "nothing and something": (
        ["close", "LB-0001", "repaired", "--cause", "nothing", "--cause", "open:flex"],
        "nothing stands alone",
    ),
    "neither set nor withdrawn": ([*_AMEND, "3", *_WHY], "give either --set FIELD=VALUE or --withdraw"),
    "both set and withdrawn": ([*_AMEND, "3", "--set", "cost=3", "--withdraw", *_WHY], "give either --set"),
    "no reason": ([*_AMEND, "3", "--withdraw"], "Missing option '--reason'"),
    "an empty reason": ([*_AMEND, "3", "--withdraw", "--reason", " "], "say why"),
    "no field": ([*_AMEND, "3", "--set", "cost", *_WHY], "'cost' cannot be set"),
    "another kind's field": ([*_AMEND, "3", "--set", "text=x", *_WHY], "It has: step, cost, minutes, result"),
    "a field of a capture": ([*_AMEND, "2", "--set", "taken=x", *_WHY], "It can only be withdrawn (--withdraw)"),
    "a sum that is none": ([*_AMEND, "3", "--set", "cost=abc", *_WHY], "cost: 'abc' is not a valid whole number"),
    "a grade by amendment": ([*_AMEND, "3", "--set", "part=old", *_WHY], "part: 'old' is none of known-good, new"),
    "a step by amendment": ([*_AMEND, "3", "--set", "step=reseat:flx", *_WHY], "has no link 'flx'"),
    "half of it wrong": ([*_AMEND, "3", "--set", "minutes=3", "--set", "cost=x", *_WHY], "cost: 'x'"),
    "entry nought": ([*_AMEND, "0", "--withdraw", *_WHY], "0 is not in the range"),
    "no time": (["note", "LB-0001", "x", "--at", "yesterday"], "'yesterday' is no time; write it as 2026-03-02 09:30"),
    "no such day": (["note", "LB-0001", "x", "--at", "2026-02-30 09:00"], "is no time"),
    "a time past all clocks": (["note", "LB-0001", "x", "--at", "9999-12-31T23:59:59-14:00"], "is no time"),
    "a time to come": (["note", "LB-0001", "x", "--at", "2999-01-01"], "'2999-01-01' has not come yet"),
}


@pytest.mark.parametrize(("words", "sentence"), _MISTYPED.values(), ids=_MISTYPED.keys())
def test_what_was_mistyped(bench: Bench, words: list[str], sentence: str) -> None:
    assert sentence in bench.refused(2, *words)


def test_a_fifo_is_not_waited_for(bench: Bench) -> None:
    os.mkfifo(bench.folder / "pipe")
    assert "pipe is no regular file" in bench.refused(3, "attach", "LB-0001", "pipe")


def test_a_file_too_large_for_the_book(bench: Bench) -> None:
    with (bench.folder / "film").open("wb") as film:
        film.truncate(LARGEST_DOCUMENT + 1)
    assert "film is larger than 64 MiB" in bench.refused(3, "attach", "LB-0001", "film")


def test_a_baseline_while_something_is_missing_unseen_or_answered_with_no(quick_bench: Bench) -> None:
    quick_bench.well("open", "LB-0001", "lost.json")
    assert "not all of unit LB-0001 is present and seen: Keyboard is missing" in quick_bench.refused(
        3, "baseline", "LB-0001"
    )
    quick_bench.well("open", "LB-0002", "unseen.json", "--anyway", "--model", "plover-small")
    assert "Keyboard is unseen (to see it: capture again as root) and Blue" in quick_bench.refused(
        3, "baseline", "LB-0002"
    )
    quick_bench.well("open", "LB-0003", "whole.json", "--anyway")
    quick_bench.well("answer", "LB-0003", "caps-light=no")
    assert 'caps lock light come on?" was answered no' in quick_bench.refused(3, "baseline", "LB-0003")
    quick_bench.well("open", "LB-0004", "--model", "plover-small")
    assert "was not captured since it came in" in quick_bench.refused(3, "baseline", "LB-0004")


def test_a_board_that_was_put_in_may_bring_its_own_serial_number(quick_bench: Bench) -> None:
    quick_bench.well("open", "LB-0001", "lost.json")
    quick_bench.refused(3, "capture", "LB-0001", "other.json")
    quick_bench.well("step", "LB-0001", "fit:mainboard")
    quick_bench.well("capture", "LB-0001", "other.json")
    quick_bench.well("open", "LB-0002", "lost.json", "--anyway")
    quick_bench.well("capture", "LB-0002", "other.json", "--anyway")


def test_a_unit_of_the_book_takes_no_answers_or_steps_on_the_command_line(bench: Bench) -> None:
    done = bench.run("check", "LB-0001", "--answer", "caps-light=no")
    assert (done.code, done.out) == (2, "")
    assert "is recorded first: usbwatch unit answer LB-0001" in done.said
    done = bench.run("localise", "LB-0001", "--did", "reseat:flex")
    assert (done.code, done.out) == (2, "")
    assert "is recorded first: usbwatch unit step, answer." in done.said


def test_a_unit_that_was_not_captured_is_not_compared(bench: Bench) -> None:
    bench.well("open", "LB-0099")
    done = bench.run("diff", "LB-0099")
    assert (done.code, done.out) == (3, "")
    assert "unit LB-0099 was not captured since it came in; capture it: usbwatch unit capture LB-0099" in done.err


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_label_can_hold_what_a_terminal_obeys(quick_bench: Bench, text: str) -> None:
    """A line break is a space like any other, and there is nothing to refuse in brackets."""
    done = quick_bench.unit("open", "--", text)
    assert all(row.isprintable() for row in (done.out + done.err).split("\n"))
    taken = {HOSTILE["markup"], HOSTILE["fakes a line"], HOSTILE["returns to the margin"]}
    assert done.code == (0 if text in taken else 3)
    assert len(quick_bench.held()) == (text in taken)
    assert all(row.isprintable() for row in quick_bench.unit("list").out.split("\n"))


def test_without_a_casebook_nothing_is_made_but_by_the_first_unit(quick_bench: Bench) -> None:
    for words in (["list"], ["show", "LB-0001"], ["capture", "LB-0001", "lost.json"]):
        assert "is not there; usbwatch unit open makes it with the first unit." in quick_bench.refused(3, *words)
    assert quick_bench.run("check", "LB-0001").code == 3
    assert quick_bench.run("check", "lost.json").code == 10
    assert not Path(quick_bench.address).exists()
    assert quick_bench.unit("open", "LB-0001").code == 0
    assert Path(quick_bench.address).exists()


def test_a_mistyped_intake_makes_no_casebook(quick_bench: Bench) -> None:
    quick_bench.refused(2, "open", "LB-0001", "--paid", "much")
    quick_bench.refused(3, "open", "LB-0001", "nothing.json")
    assert not Path(quick_bench.address).exists()


@pytest.mark.parametrize("name", ["tree", "broken.json", "whole.json", "mysql://x/y"])
def test_what_is_no_casebook_is_refused_and_left_as_it_is(quick_bench: Bench, name: str) -> None:
    before = {path: path.read_bytes() for path in quick_bench.folder.rglob("*") if path.is_file()}
    done = quick_bench.unit("open", "LB-0001", "--book", name)
    assert (done.code, done.out) == (3, "")
    assert done.err.startswith("usbwatch: casebook ")
    assert done.err.count("\n") == 1
    assert {path: path.read_bytes() for path in quick_bench.folder.rglob("*") if path.is_file()} == before


def test_a_casebook_that_cannot_be_written_is_read_and_takes_nothing(
    quick_bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite itself is told to refuse (``PRAGMA query_only``, sqlite.org/pragma.html): permissions stop no root."""
    import sqlite3

    quick_bench.well("open", "LB-0001", "lost.json")
    connect = sqlite3.connect

    def reading(*args: object, **kwargs: object) -> sqlite3.Connection:
        made: sqlite3.Connection = connect(*args, **kwargs)  # type: ignore[call-overload]
        made.execute("PRAGMA query_only = ON")
        return made

    with monkeypatch.context() as patched:
        patched.setattr(sqlite3, "connect", reading)
        assert quick_bench.unit("show", "LB-0001").code == 0
        done = quick_bench.unit("note", "LB-0001", "x")
        assert (done.code, done.out) == (3, "")
        assert done.err.startswith("usbwatch: casebook ")
    assert len(quick_bench.facts()) == 1


def test_what_came_and_went_is_to_be_watched_and_not_only_captured(quick_bench: Bench) -> None:
    """A bad contact makes contact most of the time (common practice, no source)."""
    shutil.copy(ROOT / "captures/larch-13-watched.json", quick_bench.folder)
    quick_bench.well("open", "LB-0004", "larch-13-watched.json")
    quick_bench.well("step", "LB-0004", "fit:top-case-flex", "--part", "new")
    said = quick_bench.refused(3, "baseline", "LB-0004")
    assert "usbwatch watch -o FILE on the unit, then usbwatch unit capture LB-0004 FILE" in said
