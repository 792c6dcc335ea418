"""What was noted on a unit: written and read again, hostile, and the order in which looks were taken."""

from __future__ import annotations

import contextlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.errors import BadNotes
from usbwatch.model import Answer, Step, StepKind
from usbwatch.stick.notes import LARGEST_FILE, Notes, capture_of, oldest_first, parsed, to_json

IDS = st.from_regex(r"[a-z0-9]{1,8}(-[a-z0-9]{1,8}){0,2}", fullmatch=True)
NOTES = st.builds(
    Notes,
    capture=st.from_regex(r"sha256:[0-9a-f]{64}", fullmatch=True),
    label=st.text(st.characters(codec="utf-8"), max_size=60),
    profile=st.one_of(st.just(""), IDS),
    after=st.lists(IDS.map(lambda one: f"{one}.json"), max_size=4).map(tuple),
    steps=st.lists(st.builds(Step, kind=st.sampled_from(StepKind), of=IDS), max_size=4).map(tuple),
    answers=st.lists(st.builds(Answer, check=IDS, yes=st.booleans(), again=st.booleans()), max_size=4).map(tuple),
    clock_wrong=st.booleans(),
)


@pytest.mark.properties
@given(NOTES)
def test_what_is_written_is_read_again(notes: Notes) -> None:
    text = to_json(notes)
    assert text.isascii()
    assert parsed(text.encode(), "x.unit.json") == notes


@pytest.mark.properties
@given(st.binary(max_size=300))
def test_bytes_that_are_no_notes_are_refused_in_one_sentence(data: bytes) -> None:
    with pytest.raises(BadNotes) as refused:
        parsed(data, "x.unit.json")
    assert str(refused.value).isprintable()


@pytest.mark.properties
@given(NOTES, st.sampled_from(["capture", "profile", "after", "steps", "answers", "clock_wrong", "label"]), st.data())
def test_any_field_may_be_anything(notes: Notes, field: str, data: st.DataObject) -> None:
    anything = st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(max_size=20),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
        max_leaves=6,
    )
    document = json.loads(to_json(notes)) | {field: data.draw(anything)}
    with contextlib.suppress(BadNotes):  # and nothing else
        parsed(json.dumps(document).encode(), "x.unit.json")


def test_a_file_that_is_too_large_is_not_read_on() -> None:
    with pytest.raises(BadNotes, match="is larger than"):
        parsed(b" " * (LARGEST_FILE + 1), "x.unit.json")


NAMES = {
    "larch-13-2026-03-02-091400.unit.json": ("larch-13-2026-03-02-091400.json", 1),
    "larch-13-2026-03-02-091400-2.unit-3.json": ("larch-13-2026-03-02-091400-2.json", 3),
    "larch-13.json": None,
    ".unit.json": None,
    "../x.unit.json": None,
    "x.unit-.json": None,
    "x.unit.json\n": None,
}


@pytest.mark.parametrize(("name", "told"), NAMES.items(), ids=[name.strip() for name in NAMES])
def test_whose_notes_a_file_holds_stands_in_its_name(name: str, told: tuple[str, int] | None) -> None:
    assert capture_of(name) == told


def test_time_orders_what_was_not_weighed_together() -> None:
    looks = {"c.json": ("3", ("a.json",)), "a.json": ("1", ()), "b.json": ("2", ())}
    assert oldest_first(looks) == ["a.json", "b.json", "c.json"]


@pytest.mark.properties
@given(
    st.integers(0, 7).flatmap(
        lambda count: st.lists(
            st.tuples(st.sampled_from("0123"), st.lists(st.integers(0, max(count - 1, 0)), max_size=4)),
            min_size=count,
            max_size=count,
        )
    )
)
def test_each_look_comes_once_and_after_those_it_was_weighed_with(told: list[tuple[str, list[int]]]) -> None:
    """Of notes that no unit wrote (they name each other) too, each comes once."""
    looks = {str(at): (time, tuple(map(str, before))) for at, (time, before) in enumerate(told)}
    order = oldest_first(looks)
    assert sorted(order) == sorted(looks)
    earlier = {str(at): (time, tuple(str(one) for one in before if one < at)) for at, (time, before) in enumerate(told)}
    order = oldest_first(earlier)
    assert all(order.index(one) < order.index(name) for name, (_, before) in earlier.items() for one in before)
