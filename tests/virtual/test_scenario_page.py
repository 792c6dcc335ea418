"""The table of scenarios is that of the rows; this needs no emulator."""

from __future__ import annotations

from virtual.scenario_page import PAGE, page
from virtual.scenarios import LAYOUTS, ROWS


def test_the_table_is_that_of_the_rows() -> None:
    assert PAGE.read_text("utf-8") == page()


def test_every_layout_has_its_rows() -> None:
    assert {row.layout for row in ROWS} == set(LAYOUTS)
    assert min(sum(row.layout == layout for row in ROWS) for layout in LAYOUTS) >= 10
