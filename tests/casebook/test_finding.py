"""A unit is found by a few letters, on either store."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.archives import taken_in
from support.make_casebook import FOLDER, LABELS, fill

from usbwatch.capture.saved import load_saved, saved_of
from usbwatch.casebook import Book, When, open_book, paper_of
from usbwatch.model import Step, StepKind
from usbwatch.model.history import Amended, Baselined, Captured, Opened, PartSerial, PartUsed, StepDone

_HEALTHY = Path(__file__).parents[2] / "captures" / "larch-13-healthy.json"
_NOW = When(now="2026-03-02T09:20:00Z")
_SWAP = Step(kind=StepKind.SWAP, of="top-case")


def _labels(book: Book, text: str, limit: int = 20) -> list[tuple[str, str, str]]:
    return [(each.unit.label, each.by, each.part) for each in book.find(text, limit)]


def test_a_unit_is_found_by_its_label_its_serials_its_model_and_its_id(book: Book) -> None:
    unit, _ = book.open_unit(Opened(label="LB-0042", model="fernhill-larch-13"), _NOW)
    book.open_unit(Opened(label="LB-0043"), _NOW)
    saved = load_saved(str(_HEALTHY))
    battery = PartSerial(of="battery", serial="LG-B001-DEMO")
    book.record(unit, [Captured(capture=saved.digest)], _NOW, [paper_of(saved, [battery])])
    book.record(unit, [StepDone(step=_SWAP, part=PartUsed(serial="LG-T007-DEMO"))], _NOW)
    assert _labels(book, " lb-0042 ") == [("LB-0042", "label", "")]
    assert _labels(book, "0042") == [("LB-0042", "label", "")]
    assert _labels(book, "lg-0001-demo") == [("LB-0042", "serial", "unit")]
    assert _labels(book, "LG-B0") == [("LB-0042", "serial", "battery")]
    assert _labels(book, "t007") == [("LB-0042", "serial", "top-case")]
    assert _labels(book, "larch") == [("LB-0042", "model", "")]
    assert _labels(book, unit.id[:9]) == [("LB-0042", "id", "")]
    assert [label for label, *_ in _labels(book, "LB-004")] == ["LB-0042", "LB-0043"]
    assert _labels(book, "LB-004", limit=1) == [("LB-0042", "label", "")]
    assert _labels(book, "nothing of the kind") == []
    assert _labels(book, "  ") == []


def test_a_baseline_and_a_mended_entry_bring_their_serials(book: Book) -> None:
    saved = load_saved(str(_HEALTHY))
    opened = Opened(label="LB-0001")
    kept = Baselined(capture=saved.digest, serials=(PartSerial(of="disk", serial="LG-N001-DEMO"),))
    unit, _ = book.open_unit(opened, _NOW, [kept], [paper_of(saved)])
    (entry,) = book.record(unit, [StepDone(step=_SWAP, part=PartUsed(serial="LG-T00O"))], _NOW)
    mended = StepDone(step=_SWAP, part=PartUsed(serial="LG-T000"))
    book.record(unit, [Amended(entry=entry.id, reason="a nought", instead=mended)], _NOW)
    for text, part in (("LG-N001-DEMO", "disk"), ("LG-T000", "top-case"), ("LG-T00O", "top-case")):
        assert _labels(book, text) == [("LB-0001", "serial", part)]


def test_what_is_called_so_comes_before_what_begins_so_and_what_has_it_within(book: Book) -> None:
    for label in ("X-12", "12", "12-A", "0-12-1"):
        book.open_unit(Opened(label=label), _NOW)
    assert [label for label, *_ in _labels(book, "12")] == ["12", "12-A", "0-12-1", "X-12"]


def test_where_a_whole_label_is_asked_for_those_that_merely_contain_it_are_not_looked_for(book: Book) -> None:
    for label in ("LB-0042", "LB-0042-B", "OLD LB-0042"):
        book.open_unit(Opened(label=label), _NOW)
    assert [label for label, *_ in _labels(book, "lb-0042")] == ["LB-0042", "LB-0042-B"]
    assert [label for label, *_ in _labels(book, "b-0042")] == ["LB-0042", "LB-0042-B", "OLD LB-0042"]


@pytest.mark.parametrize("text", ["%", "_", "!", "\x00", "\udcff", "'", "x" * 100_000, "\u0130" * 300])
def test_a_text_that_means_something_to_a_database_means_nothing_here(book: Book, text: str) -> None:
    book.open_unit(Opened(label="LB-0001"), _NOW)
    assert book.find(text) == ()


@pytest.mark.parametrize("serial", ["a\x00b" * 200, "\ud800\udcff", "50%", "\u0130" * 300, "\U0010ffff" * 3])
def test_a_hostile_serial_is_kept_cut_and_found(book: Book, serial: str) -> None:
    saved = load_saved(str(_HEALTHY))
    paper = paper_of(saved, [PartSerial(of=serial, serial=serial)])
    book.open_unit(Opened(label="LB-0001"), _NOW, [Captured(capture=saved.digest)], [paper])
    ((found,),) = [book.find(serial)]
    assert (found.by, len(found.what) <= 200, len(found.part) <= 200) == ("serial", True, True)


_LETTERS = st.text(alphabet="aB1-% !_\u00e9", min_size=1, max_size=5)


@given(labels=st.lists(_LETTERS, max_size=8), serials=st.lists(_LETTERS, max_size=8), asked=_LETTERS)
@pytest.mark.properties
def test_what_is_found_is_what_a_look_at_every_unit_finds(labels: list[str], serials: list[str], asked: str) -> None:
    """By definition: fold case and spaces, and look whether the text occurs; the search uses indexes and LIKE."""
    import tempfile

    def fold(text: str) -> str:
        return " ".join(text.split()).casefold()

    expected: dict[str, list[str]] = {}
    with tempfile.TemporaryDirectory() as folder:
        book = open_book(f"{folder}/book.sqlite")
        for number, label in enumerate({fold(label): label for label in labels if fold(label)}.values()):
            serial = serials[number % len(serials)] if serials else ""
            unit, _ = book.open_unit(Opened(label=f"u{label}"), _NOW)
            book.record(unit, [StepDone(step=_SWAP, part=PartUsed(serial=serial))], _NOW)
            expected[unit.id] = [fold(f"u{label}"), fold(serial)]
        # Texts of this test are shorter than what is taken for all of a label.
        wanted = {id_ for id_, texts in expected.items() if fold(asked) and any(fold(asked) in text for text in texts)}
        assert {each.unit.id for each in book.find(asked, 100)} == wanted
        book.close()


def test_a_book_of_schema_1_finds_what_its_captures_and_steps_have(tmp_path: Path) -> None:
    (tmp_path / "book.sqlite").write_bytes((FOLDER / "schema-1.sqlite").read_bytes())
    old = open_book(str(tmp_path / "book.sqlite"))
    new = open_book(str(tmp_path / "new.sqlite"))
    fill(new)
    for book in (old, new):
        assert [each[:2] for each in _labels(book, "LG-0001-DEMO")] == [(LABELS[0], "serial")]
    assert _labels(old, "LG-N001")[0] == (LABELS[0], "serial", "disk")
    old.close()
    new.close()


def test_a_unit_that_came_in_an_archive_is_found_by_its_serials(book: Book, tmp_path: Path) -> None:
    from usbwatch.casebook.exchange import export_units

    other = open_book(str(tmp_path / "other.sqlite"))
    fill(other)
    with (tmp_path / "units.zip").open("w+b") as file:
        export_units(other, None, file, "2026-03-04T08:00:00Z")
    other.close()
    taken_in(book, str(tmp_path / "units.zip"))
    assert [each[:2] for each in _labels(book, "LG-0001-DEMO")] == [(LABELS[0], "serial")]
    assert _labels(book, "LG-N001-DEMO") == [(LABELS[0], "serial", "disk")]


def test_what_firmware_writes_where_nobody_filled_in_a_serial_is_none(book: Book) -> None:
    capture = load_saved(str(_HEALTHY)).capture
    saved = saved_of(replace(capture, unit=replace(capture.unit, product_serial="To be filled by O.E.M.")))
    book.open_unit(Opened(label="LB-0001"), _NOW, [Captured(capture=saved.digest)], [paper_of(saved)])
    assert book.find("to be filled by o.e.m.") == ()
