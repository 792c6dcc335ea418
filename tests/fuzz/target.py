"""What a fuzzing target is, and the contract that each of them holds whatever bytes it is given.

A target is a function from bytes: it hands them to one decoder or reader of usbwatch, as that gets them, and looks at
what comes back. It returns, or raises an error that says in one clean sentence what is wrong; anything else is a
finding, and so is a value that cannot be shown or kept.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from random import Random

from usbwatch.errors import UsbwatchError

__all__ = ["Broken", "Target", "clean", "held", "nothing_raw", "told_apart"]

Mutate = Callable[[bytes, Random], bytes]


class Broken(AssertionError):
    """A value or a sentence that a reader should not have given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One decoder or reader."""

    name: str
    run: Callable[[bytes], object]
    seeds: Callable[[], Iterable[bytes]]
    """Valid inputs, from which the fuzzer sets out."""
    share: int = 1
    """Its part of the time, beside the others' parts."""
    mutate: Mutate | None = None
    """Another input of the right structure, for where changed bytes alone get nowhere."""
    refuses: tuple[type[Exception], ...] = (UsbwatchError,)
    """The errors whose sentence is the answer to a bad input."""
    largest: int = 4096
    """Bytes of an input that the fuzzer makes."""
    kept: int = 60
    """Inputs of its corpus that are kept at most: the tests try all of them."""


def held(target: Target, data: bytes) -> str:
    """The sentence with which an input is refused, "" where it is taken. Raises whatever is a finding."""
    try:
        target.run(data)
    except target.refuses as error:
        sentence = str(error)
        if not sentence.strip():
            raise Broken(f"{type(error).__name__} says nothing") from error
        clean(sentence)
        return sentence
    return ""


def clean(text: str) -> str:
    """The text, once nothing is in it that a terminal would obey. Raises ``Broken``.

    What Python calls printable is no control, format, surrogate, private or unassigned character, and no separator
    but the blank.
    """
    if not text.replace("\n", "").isprintable():
        odd = next(letter for letter in text if letter != "\n" and not letter.isprintable())
        raise Broken(f"a raw {odd!a} is shown in {text[:200]!a}")
    return text


def nothing_raw(text: str) -> str:
    """The text of a file or document, once it has no control characters but line feeds. Raises ``Broken``."""
    raw = (letter for letter in text if unicodedata.category(letter) in ("Cc", "Cs"))
    odd = next((letter for letter in raw if letter not in "\n\r\t"), None)
    if odd is not None:
        raise Broken(f"a raw {odd!a} is written in {text[:200]!a}")
    return text


def told_apart(data: bytes, parts: int) -> list[bytes]:
    """The data in so many parts, at the bytes 0xFF; for a reader that is given several things."""
    found = data.split(b"\xff", parts - 1)
    return [*found, *[b""] * (parts - len(found))]
