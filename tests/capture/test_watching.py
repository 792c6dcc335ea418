"""Which node answered: happenings in, one observation out. The last tests run on generated happenings."""

from __future__ import annotations

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.capture.signs import Sign
from usbwatch.capture.watching import (
    SETTLE_MS,
    TELLING,
    Ask,
    Happening,
    Left,
    Said,
    Signs,
    Watch,
    begun,
    is_over,
    moved_on,
    observation,
    strays,
)
from usbwatch.model import Deed, Observation, Response

KEYBOARD, HELPER, TOUCHPAD = "platform/i8042/kbd/input", "pci0000:00/14.0/usb2/1/if0/hid/input", "acpi/TPD0/hid/input"
PATIENCE_MS = 30_000
NAMES = {KEYBOARD: "AT keyboard", HELPER: "Bench keyboard"}


def told(at_ms: int, location: str, *signs: Sign) -> Signs:
    return Signs(at_ms=at_ms, location=location, signs=signs)


def watched(*happenings: Happening, deed: Deed = Deed.PRESS, own: tuple[str, ...] = (KEYBOARD,)) -> Watch:
    watch = begun(Ask(function="keyboard", deed=deed, own=own), 1000, PATIENCE_MS)
    for happening in happenings:
        watch = moved_on(watch, happening)
    return watch


def seen(*happenings: Happening, deed: Deed = Deed.PRESS, own: tuple[str, ...] = (KEYBOARD,)) -> Observation:
    return observation(watched(*happenings, deed=deed, own=own), "2026-03-02T09:14:00Z", NAMES)


DONE, COULD_NOT = Said(at_ms=4000, done=True), Said(at_ms=4000, done=False)
LETTERS = told(2200, KEYBOARD, Sign.LETTER, Sign.MODIFIER, Sign.KEY)
HELPERS_ENTER = told(3990, HELPER, Sign.KEY)

RESPONSES: dict[str, tuple[tuple[Happening, ...], Response]] = {
    "nothing happens, nobody says a word": ((), Response.NOT_DONE),
    "the keyboard answers": ((LETTERS,), Response.ANSWERED),
    "it answers, and the person says so": ((LETTERS, DONE), Response.ANSWERED),
    "it answers after all": ((COULD_NOT, LETTERS), Response.ANSWERED),
    "the person did it and nothing came": ((DONE,), Response.SILENT),
    "did it, and pressed Enter on a helper keyboard": ((HELPERS_ENTER, DONE), Response.SILENT),
    "a helper keyboard alone": ((HELPERS_ENTER,), Response.NOT_DONE),
    "could not": ((COULD_NOT,), Response.NOT_DONE),
    "did it, then took it back": ((DONE, COULD_NOT), Response.NOT_DONE),
    "it is moved, which is not what was asked": ((told(2000, KEYBOARD, Sign.MOTION), DONE), Response.SILENT),
    "other keys alone may be hot keys": ((told(2000, KEYBOARD, Sign.KEY),), Response.NOT_DONE),
    "other keys alone, and a word, are no silence": ((told(2000, KEYBOARD, Sign.KEY), DONE), Response.NOT_DONE),
    "other keys first, then letters": ((told(1500, KEYBOARD, Sign.KEY), LETTERS), Response.ANSWERED),
    "it left before a word": ((Left(at_ms=2000, location=KEYBOARD), DONE), Response.NOT_DONE),
    "it answered and left": ((LETTERS, Left(at_ms=2500, location=KEYBOARD)), Response.ANSWERED),
}


@pytest.mark.parametrize(("happenings", "response"), RESPONSES.values(), ids=RESPONSES)
def test_what_it_comes_to(happenings: tuple[Happening, ...], response: Response) -> None:
    assert seen(*happenings).response is response


def test_an_answer_says_which_node_how_soon_and_how_much() -> None:
    found = seen(told(1900, TOUCHPAD, Sign.MOTION), HELPERS_ENTER, LETTERS, told(2300, KEYBOARD, Sign.LETTER))
    assert (found.location, found.name, found.after_ms) == (KEYBOARD, "AT keyboard", 1200)
    assert (found.events, found.letters, found.modifiers) == (4, 2, 1)
    assert found.elsewhere == (HELPER,)
    assert found.watched == (KEYBOARD,)


def test_of_two_nodes_of_one_part_the_first_to_answer_is_named() -> None:
    keys, more = "acpi/KBD/input", "acpi/KBD/input#2"
    found = seen(told(3000, keys, Sign.LETTER), told(2000, more, Sign.MODIFIER), own=(keys, more))
    assert (found.location, found.after_ms, found.events) == (more, 1000, 1)


@pytest.mark.parametrize("deed", Deed)
@pytest.mark.parametrize("sign", Sign)
def test_only_telling_signs_answer_a_deed(deed: Deed, sign: Sign) -> None:
    answers = sign in TELLING[deed] and sign is not Sign.KEY
    assert (seen(told(2000, KEYBOARD, sign), deed=deed).response is Response.ANSWERED) == answers


ENDS = {
    "when the patience is at its end": ((), 1000 + PATIENCE_MS),
    "soon after an answer": ((LETTERS,), 2200 + SETTLE_MS[Deed.PRESS]),
    "not sooner for a hot key": ((told(2200, KEYBOARD, Sign.KEY),), 1000 + PATIENCE_MS),
    "soon after the word that it was done": ((DONE,), 4000 + SETTLE_MS[Deed.PRESS]),
    "at once when it cannot be done": ((COULD_NOT,), 4000),
    "not sooner for a helper": ((HELPERS_ENTER,), 1000 + PATIENCE_MS),
}


@pytest.mark.parametrize(("happenings", "end_ms"), ENDS.values(), ids=ENDS)
def test_when_it_is_over(happenings: tuple[Happening, ...], end_ms: int) -> None:
    watch = watched(*happenings)
    assert (is_over(watch, end_ms - 1), is_over(watch, end_ms)) == (False, True)


def test_after_a_word_a_slow_supply_is_heard_for_longer_than_a_key() -> None:
    watch = watched(DONE, deed=Deed.PULL)
    assert not is_over(watch, 4000 + 3000)
    answered = moved_on(watch, told(7000, KEYBOARD, Sign.OFFLINE))
    assert observation(answered, "", NAMES).response is Response.ANSWERED


def test_it_is_over_when_no_node_is_left_to_hear() -> None:
    assert is_over(watched(Left(at_ms=1500, location=KEYBOARD)), 1500)


def test_which_letter_was_pressed_is_kept_nowhere() -> None:
    numbers = {field.name for field in fields(Observation) if field.type == "int"}
    assert numbers == {"after_ms", "events", "letters", "modifiers"}
    once, twice = told(2000, KEYBOARD, Sign.LETTER), told(2000, KEYBOARD, Sign.LETTER)
    assert seen(once) == seen(twice)


_PLACES = st.sampled_from([KEYBOARD, HELPER, TOUCHPAD])
_TIMES = st.integers(1000, 60_000)
_HAPPENINGS = st.lists(
    st.one_of(
        st.builds(Signs, at_ms=_TIMES, location=_PLACES, signs=st.lists(st.sampled_from(Sign), max_size=5).map(tuple)),
        st.builds(Said, at_ms=_TIMES, done=st.booleans()),
        st.builds(Left, at_ms=_TIMES, location=_PLACES),
    ),
    max_size=12,
)


@pytest.mark.properties
@given(_HAPPENINGS)
def test_without_a_word_nothing_is_ever_called_silent(happenings: list[Happening]) -> None:
    mute = [one for one in happenings if not isinstance(one, Said)]
    assert seen(*mute).response is not Response.SILENT


@pytest.mark.properties
@given(_HAPPENINGS, st.sampled_from(Deed))
def test_only_a_node_of_the_part_answers(happenings: list[Happening], deed: Deed) -> None:
    found = seen(*happenings, deed=deed)
    told_of = any(
        isinstance(one, Signs) and one.location == KEYBOARD and set(one.signs) & TELLING[deed] - {Sign.KEY}
        for one in happenings
    )
    assert (found.response is Response.ANSWERED) == told_of
    assert found.location in ({KEYBOARD} if told_of else {""})
    assert KEYBOARD not in found.elsewhere


@pytest.mark.properties
@given(_HAPPENINGS)
def test_nothing_makes_it_wait_longer(happenings: list[Happening]) -> None:
    ends = [watched(*happenings[:count]).ends_ms for count in range(len(happenings) + 1)]
    assert ends == sorted(ends, reverse=True)
    assert set(strays(watched(*happenings))) <= {HELPER, TOUCHPAD}
