"""docs/architecture.md: the drawing is of the code as it is, every name is there, and both walks are taken."""

from __future__ import annotations

import ast
import csv
import html
import json
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

import pytest
from conftest import BuiltTree
from support.architecture_drawing import PICTURE, drawn, rooms_of_the_code
from support.make_captures import SHIPPED
from support.make_readme import ROOT
from support.page_tables import names_in, rows_between, table_rows
from support.pages import Bench
from support.units import LARCH

PAGE = (ROOT / "docs" / "architecture.md").read_text("utf-8")
PACKAGE = ROOT / "usbwatch"
LOST = SHIPPED["larch-13-top-case-lost"].conditions
HOSTILE = "=cmd|'/C calc'!A0 \x1b[2J<b>Keyboard</b>\u202e"


def test_the_drawing_is_of_the_code_as_it_is() -> None:
    assert PICTURE.read_text("utf-8") == drawn(rooms_of_the_code()), "renew it, see DEVELOPERS.md, and look at it"


def test_every_mark_of_the_drawing_points_downwards() -> None:
    rooms = rooms_of_the_code()
    order = {room: number for number, room in enumerate(rooms.names)}
    assert len(rooms.imports) > 40
    assert [pair for pair in rooms.imports if order[pair[0]] >= order[pair[1]]] == []


def test_every_room_is_told_with_whether_it_does_io() -> None:
    told = {names_in(row[0])[0]: row[1] for row in table_rows(PAGE) if len(row) == 3 and names_in(row[0])}
    rooms = rooms_of_the_code()
    assert list(told) == [room for room in rooms.names if (PACKAGE / room).is_dir()]
    assert {room for room, io in told.items() if io == "no"} == rooms.pure


def test_the_folders_beside_the_package_are_there() -> None:
    (listed,) = re.findall(
        r"^```text\n(.*?)^```$", (ROOT / "DEVELOPERS.md").read_text("utf-8"), re.DOTALL | re.MULTILINE
    )
    assert [line for line in listed.splitlines() if not (ROOT / line.split()[0]).is_dir()] == []


def functions(module: Path) -> Iterator[str]:
    """``name`` and ``Class.method`` of all that a module defines."""
    for node in ast.parse(module.read_text("utf-8")).body:
        if isinstance(node, ast.FunctionDef):
            yield node.name
        if isinstance(node, ast.ClassDef):
            yield from (f"{node.name}.{below.name}" for below in node.body if isinstance(below, ast.FunctionDef))


NAMED = sorted(set(re.findall(r"`([a-z_/]+\.py)(?::([\w.]+))?`", PAGE)))


@pytest.mark.parametrize(("module", "name"), NAMED, ids=[":".join(one) for one in NAMED])
def test_what_the_page_names_is_in_the_code(module: str, name: str) -> None:
    assert (PACKAGE / module).is_file()
    assert not name or name in set(functions(PACKAGE / module))


@contextmanager
def noted() -> Iterator[set[str]]:
    """Every function of the package that is called meanwhile, as the page names it."""
    called: set[str] = set()
    start = f"{PACKAGE}/"

    def note(frame: FrameType, _event: str, _argument: object) -> None:  # returns nothing, so lines are not traced
        if frame.f_code.co_filename.startswith(start):
            called.add(f"{frame.f_code.co_filename.removeprefix(start)}:{frame.f_code.co_qualname}")

    before = sys.gettrace()
    sys.settrace(note)
    try:
        yield called
    finally:
        sys.settrace(before)


def walked(mark: str, called: set[str]) -> list[str]:
    """The functions of a walk of the page that were not called."""
    named = [name for row in rows_between(PAGE, mark) for name in names_in(row[0])]
    assert len(named) > 10
    return [name for name in named if name not in called]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    for name in ("bench", "home"):
        (tmp_path / name).mkdir()
    return Bench(folder=tmp_path / "bench", home=tmp_path / "home")


def run(bench: Bench, command: str) -> str:
    done = bench.run(command)
    assert done.code in (0, 10, 11), done
    return done.printed


def test_the_walk_of_a_string(bench: Bench, built_tree: BuiltTree, loose_tree: Callable[..., Path]) -> None:
    tree = loose_tree(LARCH)
    (product,) = [path for path in tree.rglob("product") if path.read_bytes() == b"Larch Internal Keyboard\n"]
    product.write_text(f"{HOSTILE}\n", encoding="utf-8")
    run(bench, f"usbwatch capture --root {built_tree(LARCH, LOST)} -o a.json")
    with noted() as called:
        run(bench, f"usbwatch capture --root {tree} -o b.json")
        screen = run(bench, "usbwatch diff a.json b.json")
        run(bench, "usbwatch report a.json b.json --compare -o r.html")
        run(bench, "usbwatch report a.json b.json --compare --format csv -o r.csv")
    assert walked("string", called) == []
    names = [
        node["name"] for node in json.loads((bench.folder / "b.json").read_text("utf-8"))["nodes"] if "name" in node
    ]
    assert HOSTILE in names
    assert "\\x1b[2J<b>Keyboard</b>\\u202e" in screen
    page = (bench.folder / "r.html").read_text("utf-8")
    assert html.escape("\\x1b[2J<b>Keyboard</b>\\u202e") in page
    with (bench.folder / "r.csv").open(encoding="utf-8", newline="") as file:
        (cell,) = [row["what"] for row in csv.DictReader(file) if "Keyboard" in row["what"]]
    assert cell.startswith("'=cmd|")
    for text in (screen, page, cell):
        assert "\x1b" not in text
        assert "\u202e" not in text


def test_the_walk_of_a_finding(bench: Bench, built_tree: BuiltTree) -> None:
    log = built_tree(LARCH, LOST) / "meta" / "dmesg.txt"
    with noted() as called:
        screen = run(bench, f"usbwatch check --root {log.parent.parent}")
    assert walked("finding", called) == []
    assert "✗ MISSING     Keyboard" in screen
