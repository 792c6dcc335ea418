"""The page on the model gives the numbers that the tables have."""

from __future__ import annotations

from pathlib import Path

import pytest

from usbwatch.localise.sites import DEAD_PRIORS, HUNG_PRIORS, PRIORS, SOFTWARE_PRIORS, SiteKind
from usbwatch.localise.symptoms import (
    BATTERY_MUTE_SHARE,
    MISTAKEN_DANGER,
    ROWS,
    SOFTWARE_UNTOLD,
    UNTOLD_ELSEWHERE,
    WRONGLY_NO,
    Effect,
)
from usbwatch.localise.tried import ELSEWHERE_MISLEADS, HELPER_WORKS_ANYWAY, METER_MISTAKEN
from usbwatch.model import Symptom

PAGE = (Path(__file__).parents[2] / "docs" / "diagnosis.md").read_text(encoding="utf-8")
CELLS = {
    cells[0]: cells[1:]
    for line in PAGE.splitlines()
    if line.startswith("| ")
    for cells in [[cell.strip() for cell in line.strip("|").split("|")]]
}
COLUMNS = (Symptom.WORKING, Symptom.ABSENT, Symptom.FAILED, Symptom.DEGRADED, Symptom.MUTE, Symptom.UNDRIVEN)


def shown(figure: float) -> str:
    return f"{figure:.7f}".rstrip("0") if figure < 0.001 else f"{figure:g}"


@pytest.mark.parametrize("effect", list(Effect), ids=lambda effect: effect.name)
def test_the_page_has_every_row(effect: Effect) -> None:
    assert [float(cell) for cell in CELLS[effect.value]] == [ROWS[effect][symptom] for symptom in COLUMNS]


@pytest.mark.parametrize("kind", list(SiteKind), ids=lambda kind: kind.name)
def test_the_page_has_every_prior(kind: SiteKind) -> None:
    told = CELLS[kind.value][0]
    assert told == "by function" if kind is SiteKind.HUNG else float(told) == PRIORS[kind]


@pytest.mark.parametrize(
    "table", [DEAD_PRIORS, SOFTWARE_PRIORS, HUNG_PRIORS, SOFTWARE_UNTOLD], ids=["dead", "software", "hung", "untold"]
)
def test_the_page_has_every_figure_that_goes_by_function(table: dict[str, float]) -> None:
    told = ", ".join(f"{function or 'any other'} {shown(figure)}" for function, figure in table.items())
    assert [told] == [each for each in [told] if each in PAGE]


@pytest.mark.parametrize(
    "figure",
    [
        WRONGLY_NO,
        MISTAKEN_DANGER,
        METER_MISTAKEN,
        ELSEWHERE_MISLEADS,
        HELPER_WORKS_ANYWAY,
        BATTERY_MUTE_SHARE,
        UNTOLD_ELSEWHERE,
    ],
)
def test_the_page_has_the_other_figures(figure: float) -> None:
    assert f" {figure:g} of the" in PAGE
