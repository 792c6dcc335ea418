"""The page behind the answer, laid out for the screen that it is on."""

from __future__ import annotations

from pathlib import Path

import pytest

from usbwatch.capture import load
from usbwatch.cli.weighing import weighed
from usbwatch.onboard.details import details_lines
from usbwatch.onboard.letters import console_line
from usbwatch.profile import find
from usbwatch.show import Seen
from usbwatch.show.lines import cells, wrapped

_LOST = Path(__file__).parents[2] / "captures" / "larch-13-top-case-lost.json"


@pytest.mark.parametrize("width", [50, 79, 80, 85, 120])
def test_rules_go_from_edge_to_edge_and_no_further(width: int) -> None:
    """Of a rule that is wrapped, a second piece would stand in the next row."""
    localised, _ = weighed([Seen(capture=load(str(_LOST)))], find("fernhill-larch-13"), insisted=False)
    lines = [console_line(one) for one in details_lines(localised, width, money=False)]
    rules = [cells(one.text) for one in lines if len(set(one.text.strip())) == 1 and len(one.text) > 1]
    assert len(rules) > 2
    assert set(rules) == {width}
    assert max(cells(row.text) for row in wrapped(lines, width)) <= width
