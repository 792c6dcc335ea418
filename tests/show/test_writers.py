"""Both writers give the same words; only one of them gives colours."""

from __future__ import annotations

import re

import pytest
from support.invented import TOP_CASE_LOST

from usbwatch.show import check_view, coloured, line, plain
from usbwatch.show.lines import Style

SGR = re.compile(r"\x1b\[[0-9;]*m")


@pytest.mark.parametrize("width", [40, 60, 80, 120, 200])
@pytest.mark.parametrize("ascii_only", [False, True], ids=["unicode", "ascii"])
def test_colours_change_no_word(width: int, ascii_only: bool) -> None:
    page = check_view(TOP_CASE_LOST, width)
    bare = plain(page, width, ascii_only=ascii_only)
    painted = coloured(page, width, ascii_only=ascii_only)
    assert "\x1b[" in painted
    assert [row.rstrip() for row in SGR.sub("", painted).splitlines()] == bare.splitlines()
    assert max(len(row) for row in bare.splitlines()) <= width


def test_plain_text_has_no_escape_sequence_and_no_trailing_space() -> None:
    text = plain([line(("wrong", Style.WRONG), "   ")], 80)
    assert text == "wrong\n"


def test_markup_in_a_string_is_only_text() -> None:
    assert SGR.sub("", coloured([line("[bold red]x[/] :smile:")], 80)) == "[bold red]x[/] :smile:\n"


def test_a_stamp_runs_to_the_edge_of_the_page() -> None:
    painted = coloured([line((" whole", Style.STAMP_FINE))], 20)
    assert SGR.sub("", painted) == " whole" + " " * 14 + "\n"


def test_a_stamp_of_two_lines_has_no_hole_where_the_second_is_set_in() -> None:
    painted = coloured([line(("    is missing", Style.STAMP_WRONG), hang=4)], 12)
    assert SGR.sub("", painted) == "    is      \n    missing \n"
    assert re.sub(r"\x1b\[1;37;41m.*?\x1b\[0m", "", painted) == "\n\n"
