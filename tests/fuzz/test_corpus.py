"""Every kept input through its target: what is taken can be shown and kept, what is refused is told in a sentence.

The inputs were found by coverage-guided fuzzing (``fuzz.run``; atheris and libFuzzer), and set out from valid ones.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from fuzz.corpus import ENDING, LARGEST, broken, inputs, kept
from fuzz.table import TARGETS
from fuzz.target import Broken, Target, clean, held

_HERE = Path(__file__).parent


@pytest.mark.parametrize("target", TARGETS.values(), ids=TARGETS)
def test_no_kept_input_breaks_its_target(target: Target) -> None:
    for data in inputs(target):
        held(target, data)


@pytest.mark.parametrize("target", TARGETS.values(), ids=TARGETS)
def test_a_target_takes_what_is_valid(target: Target) -> None:
    """A target that refused every input would hold whatever the code did."""
    assert any(held(target, data) == "" for data in target.seeds())


@pytest.mark.parametrize("target", TARGETS.values(), ids=TARGETS)
def test_each_target_has_a_corpus(target: Target) -> None:
    assert kept(target.name)


def test_the_corpora_are_small_and_each_has_its_target() -> None:
    files = list((_HERE / "corpus").iterdir())
    assert {path.name.removesuffix(ENDING) for path in files} == set(TARGETS)
    assert sum(path.stat().st_size for path in files) < LARGEST
    assert {path.name for path in (_HERE / "broken").iterdir()} <= set(TARGETS)
    assert all(broken(path.name) for path in (_HERE / "broken").iterdir())


@pytest.mark.parametrize("text", ["\x1b[2J", "\x9b", "a\rb", "\u202e", "\udc80", "\u2028", "\x00", "\u200b"])
def test_what_a_terminal_would_obey_is_noticed(text: str) -> None:
    with pytest.raises(Broken):
        clean(f"Larch {text} 13")


def test_an_error_that_says_nothing_is_noticed() -> None:
    def refuse(_data: bytes) -> None:
        raise ValueError

    target = Target(name="x", run=refuse, seeds=list, refuses=(ValueError,))
    with pytest.raises(Broken, match="says nothing"):
        held(target, b"")
