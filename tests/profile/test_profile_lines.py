"""Lines of keys and items in a TOML text. The layouts are those that TOML 1.0 (toml.io) allows."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from usbwatch.profile.faults import Place
from usbwatch.profile.lines import Lines

SHIPPED = Path(__file__).parent.parent.parent / "profiles"

TEXT = '''\
a = 1 # [x]
b.c = """
[not.a.header]
d = 2
"""
e = \'\'\'
f = 3 \'\'\'
[device."odd key".'k']   # with a comment
needs = [ # one
  "a", "b",
  "c", [1,
  2]]
m = { x = [1, 2], y = "}", "z w" = { q = 1 } }
when = 2026-01-01 10:00:00
after = 1
[[arr . x]]
v = 'a#b'
"quoted" . key = "back\\\\\\"slash"
last = """four quotes""""
'''


@pytest.mark.parametrize(
    ("place", "line"),
    [
        (("a",), 1),
        (("b",), 2),
        (("b", "c"), 2),
        (("e",), 6),
        (("device",), 8),
        (("device", "odd key", "k"), 8),
        (("device", "odd key", "k", "needs"), 9),
        (("device", "odd key", "k", "needs", 0), 10),
        (("device", "odd key", "k", "needs", 1), 10),
        (("device", "odd key", "k", "needs", 2), 11),
        (("device", "odd key", "k", "needs", 3, 1), 12),
        (("device", "odd key", "k", "m", "z w", "q"), 13),
        (("device", "odd key", "k", "after"), 15),
        (("arr", "x"), 16),
        (("arr", "x", "v"), 17),
        (("arr", "x", "quoted", "key"), 18),
        (("arr", "x", "last"), 19),
    ],
    ids=str,
)
def test_a_place_is_found_on_its_line(place: Place, line: int) -> None:
    tomllib.loads(TEXT)
    assert Lines(TEXT).of(place) == line


@pytest.mark.parametrize(
    ("place", "line"),
    [
        (("device", "odd key", "k", "needs", 9), 9),
        (("device", "odd key", "k", "missing", 0), 8),
        (("d",), 0),
        (("f",), 0),
        (("not",), 0),
        ((), 0),
    ],
    ids=str,
)
def test_what_is_not_in_the_text_has_the_line_of_the_nearest_table_or_none(place: Place, line: int) -> None:
    assert Lines(TEXT).of(place) == line


def test_windows_line_ends_count_once() -> None:
    assert Lines("a = 1\r\n[t]\r\nb = [\r\n1,\r\n2]\r\n").of(("t", "b", 1)) == 5


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("*.toml")), ids=lambda path: path.stem)
def test_every_key_of_a_shipped_profile_is_found_where_a_plain_search_finds_it(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    lines, checked, header = Lines(text), 0, ()
    for number, line in enumerate(text.splitlines(), 1):
        if table := re.match(r"\[([a-z0-9.-]+)\]", line):
            header = tuple(table.group(1).split("."))
            assert lines.of(header) <= number
        elif key := re.match(r"([a-z_]+) =", line):
            assert lines.of((*header, key.group(1))) == number
            checked += 1
    assert checked > 50
