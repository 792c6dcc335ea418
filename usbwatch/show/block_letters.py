"""A small font of our own, to be read across a bench: letters of blocks, five rows high.

Drawn for this program. A letter is four columns wide, but for a few that need
less or more; what is not in it cannot be written with it.
"""

from __future__ import annotations

__all__ = ["ROWS", "can_write", "columns", "written"]

ROWS = 5

_GAP = 1
_SPACE = 1

_DRAWN = """
A .##. B ###. C .### D ###. E #### F #### G .### H #..#
  #..#   #..#   #...   #..#   #...   #...   #...   #..#
  ####   ###.   #...   #..#   ###.   ###.   #.##   ####
  #..#   #..#   #...   #..#   #...   #...   #..#   #..#
  #..#   ###.   .###   ###.   ####   #...   .###   #..#

I ### J ..## K #..# L #... M #...# N #..# O .##. P ###.
  .#.   ...#   #.#.   #...   ##.##   ##.#   #..#   #..#
  .#.   ...#   ##..   #...   #.#.#   #.##   #..#   ###.
  .#.   #..#   #.#.   #...   #...#   #..#   #..#   #...
  ###   .##.   #..#   ####   #...#   #..#   .##.   #...

Q .##. R ###. S .### T ##### U #..# V #...# W #...# X #..#
  #..#   #..#   #...   ..#..   #..#   #...#   #...#   #..#
  #..#   ###.   .##.   ..#..   #..#   #...#   #.#.#   .##.
  #.##   #.#.   ...#   ..#..   #..#   .#.#.   ##.##   #..#
  .###   #..#   ###.   ..#..   .##.   ..#..   #...#   #..#

Y #...# Z #### 0 .##. 1 .#. 2 ###. 3 ###. 4 #..# 5 ####
  .#.#.   ...#   #.##   ##.   ...#   ...#   #..#   #...
  ..#..   .##.   #..#   .#.   .##.   .##.   ####   ###.
  ..#..   #...   ##.#   .#.   #...   ...#   ...#   ...#
  ..#..   ####   .##.   ###   ####   ###.   ...#   ###.

6 .##. 7 #### 8 .##. 9 .##. - ... / ...# + ... ! #
  #...   ...#   #..#   #..#   ...   ...#   .#.   #
  ###.   ..#.   .##.   .###   ###   .##.   ###   #
  #..#   .#..   #..#   ...#   ...   #...   .#.   .
  .##.   .#..   .##.   .##.   ...   #...   ...   #
"""


def _read(drawn: str) -> dict[str, tuple[str, ...]]:
    letters: dict[str, tuple[str, ...]] = {}
    for band in drawn.strip("\n").split("\n\n"):
        rows = [row.split() for row in band.splitlines()]
        names, first = rows[0][::2], rows[0][1::2]
        for at, name in enumerate(names):
            letters[name] = (first[at], *(row[at] for row in rows[1:]))
    return letters


_LETTERS = _read(_DRAWN)


def can_write(text: str) -> bool:
    """Whether every letter of ``text`` is in the font."""
    return all(letter == " " or letter in _LETTERS for letter in text)


def columns(text: str, scale: int = 1) -> int:
    """How wide ``text`` gets with each block ``scale`` columns wide."""
    widths = [_SPACE if letter == " " else len(_LETTERS[letter][0]) for letter in text]
    return scale * (sum(widths) + _GAP * max(0, len(widths) - 1))


def written(text: str, block: str, scale: int = 1, rows: int = 1) -> list[str]:
    """``text`` in letters made of ``block``, each block ``scale`` columns wide and ``rows`` rows high."""
    lines = [_row(text, number).replace("#", block * scale).replace(".", " " * scale) for number in range(ROWS)]
    return [line for line in lines for _ in range(rows)]


def _row(text: str, number: int) -> str:
    blank = "." * _SPACE
    return ("." * _GAP).join(blank if letter == " " else _LETTERS[letter][number] for letter in text)
