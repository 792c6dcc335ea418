"""The page on the model gives the numbers that the tables have."""

from __future__ import annotations

from pathlib import Path

import pytest

from usbwatch.localise.courses import ACTS_WHEN_FLEXED
from usbwatch.localise.sites import (
    ACTS_IN_A_CAPTURE,
    ACTS_IN_A_WATCH,
    DEAD_PRIORS,
    HUNG_PRIORS,
    PRIORS,
    SOFTWARE_PRIORS,
    SiteKind,
)
from usbwatch.localise.symptoms import (
    BATTERY_MUTE_SHARE,
    MISTAKEN_AGAIN,
    MISTAKEN_DANGER,
    MOVED_APART,
    ROWS,
    SOFTWARE_UNTOLD,
    UNTOLD_ELSEWHERE,
    WATCHED_ROWS,
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


@pytest.mark.parametrize("effect", list(Effect), ids=lambda effect: effect.name)
def test_the_page_has_what_watching_makes_of_every_row(effect: Effect) -> None:
    of_working, of_wrong, comes_and_goes = map(float, CELLS[f"{effect.value}, watched"])
    plain, watched = ROWS[effect], WATCHED_ROWS[effect]
    assert of_working == pytest.approx(1 - watched[Symptom.WORKING] / plain[Symptom.WORKING])
    assert of_wrong == pytest.approx(1 - watched[Symptom.ABSENT] / plain[Symptom.ABSENT])
    assert comes_and_goes == pytest.approx(watched[Symptom.INTERMITTENT], rel=0.05)


def test_the_page_has_how_often_a_loose_link_acts() -> None:
    watched, looked = ACTS_IN_A_WATCH[SiteKind.LOOSE], ACTS_IN_A_CAPTURE[SiteKind.LOOSE]
    assert f"acts in {watched:g} of the watches" in PAGE
    assert f"({looked:g} of single looks, {ACTS_WHEN_FLEXED:g} while it is moved)" in PAGE
    assert f"({MOVED_APART:g} of the time one fault does that)" in PAGE


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
        MISTAKEN_AGAIN,
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
