"""The code on the screen: eight signs that nobody takes for others, each good for one capture."""

from __future__ import annotations

import math

import pytest

from usbwatch.listen.codes import ALPHABET, LENGTH, CodeStanding, Gate, Used, grouped, normalised

_USED = Used(body=b"sum", length=3, answer="there already")


def test_a_code_is_of_eight_signs_without_look_alikes() -> None:
    codes = {Gate(asks=True).code for _ in range(2000)}
    assert len(codes) == 2000
    assert {len(code) for code in codes} == {LENGTH}
    assert set("".join(codes)) == set(ALPHABET)
    assert not set("IL10O") & set(ALPHABET)
    assert math.log2(len(ALPHABET)) * LENGTH > 39


def test_a_code_is_taken_as_people_type_it() -> None:
    gate = Gate(asks=True)
    for typed in (gate.code, grouped(gate.code), gate.code.lower(), f" {grouped(gate.code)} "):
        assert gate.standing(typed) is CodeStanding.RIGHT


@pytest.mark.parametrize("typed", ["", "AAAAAAAA", "{}A", "\u00e9" * 8, "A" * 100_000])
def test_anything_else_is_wrong(typed: str) -> None:
    gate = Gate(asks=True)
    assert gate.standing(typed.format(gate.code)) is CodeStanding.WRONG


def test_a_code_counts_for_one_capture() -> None:
    gate = Gate(asks=True)
    first = gate.code
    gate.take()
    assert gate.standing(first) is CodeStanding.BUSY
    assert gate.use_up(_USED)
    assert gate.code != first
    assert gate.standing(first) is CodeStanding.USED
    assert gate.used(grouped(first)) == _USED
    assert gate.standing(gate.code) is CodeStanding.RIGHT


def test_what_was_not_kept_leaves_the_code_as_it_was() -> None:
    gate = Gate(asks=True)
    gate.take()
    gate.give_back()
    assert gate.standing(gate.code) is CodeStanding.RIGHT


def test_no_number_of_wrong_codes_locks_the_right_one_out() -> None:
    gate = Gate(asks=True)
    assert {gate.standing(f"{number:08}") for number in range(10_000)} == {CodeStanding.WRONG}
    assert gate.standing(gate.code) is CodeStanding.RIGHT


def test_old_codes_are_forgotten_in_the_end() -> None:
    gate = Gate(asks=True)
    first = gate.code
    for _ in range(17):
        gate.use_up(_USED)
    assert gate.standing(first) is CodeStanding.WRONG


def test_the_same_code_counts_for_all_where_that_was_asked() -> None:
    gate = Gate(asks=True, same=True)
    gate.take()
    assert gate.standing(gate.code) is CodeStanding.RIGHT
    assert not gate.use_up(_USED)
    assert gate.standing(gate.code) is CodeStanding.RIGHT


def test_this_computer_alone_needs_none() -> None:
    assert Gate(asks=False).standing("") is CodeStanding.RIGHT


def test_only_signs_count() -> None:
    assert normalised("k7pm - 4rtx") == "K7PM4RTX"
