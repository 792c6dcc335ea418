"""Every link leads somewhere, every page is in the index, and what pages quote of tests and benchmarks is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from support.make_readme import ROOT
from support.page_tables import names_in, rows_between

DOCS = ROOT / "docs"
PAGES = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.rglob("*.md")))
_LINK = re.compile(r"\]\(([^)\s]+)\)")


def prose(page: Path) -> str:
    return re.sub(r"^( *)```.*?^\1```$", "", page.read_text("utf-8"), flags=re.DOTALL | re.MULTILINE)


def anchors(page: Path) -> set[str]:
    """The anchors of a page's headings, as the common renderers make them: letters, digits, hyphens for spaces."""
    headings = re.findall(r"^#+ (.+)$", prose(page), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


LINKS = sorted(
    {(str(page.relative_to(ROOT)), to) for page in PAGES for to in _LINK.findall(prose(page)) if "://" not in to}
)


@pytest.mark.parametrize(("page", "to"), LINKS, ids=[f"{page} {to}" for page, to in LINKS])
def test_a_link_leads_to_a_file_and_a_heading(page: str, to: str) -> None:
    path, _, anchor = to.partition("#")
    target = (ROOT / page).parent / path if path else ROOT / page
    assert target.exists()
    if anchor:
        assert anchor in anchors(target)


def test_every_page_is_in_the_index_once_or_in_two_ways() -> None:
    linked = [(DOCS / to).resolve() for to in _LINK.findall((DOCS / "README.md").read_text("utf-8"))]
    assert {one for one in DOCS.rglob("*.md") if one.name != "README.md"} == {
        one for one in linked if one.suffix == ".md"
    }
    assert "(docs/README.md)" in (ROOT / "README.md").read_text("utf-8")


def test_what_the_program_never_does_is_held_by_tests_that_are_there() -> None:
    rows = rows_between((DOCS / "safety.md").read_text("utf-8"), "never")
    assert len(rows) >= 8
    for _, held in rows:
        file, _, name = names_in(held)[0].partition("::")
        assert f"def {name}(" in (ROOT / file).read_text("utf-8"), held


def test_the_figures_of_the_limits_stand_in_the_files_that_are_named() -> None:
    rows = rows_between((DOCS / "limits.md").read_text("utf-8"), "figures")
    assert len(rows) >= 8
    for figure, _, file in rows:
        measured = (ROOT / names_in(file)[0]).read_text("utf-8")
        assert re.search(rf"(?<![\d.]){re.escape(names_in(figure)[0])}(?![\d.])", measured), figure


def test_the_hand_checks_that_the_limits_name_are_in_a_profile() -> None:
    named = set(re.findall(r"`([a-z]+(?:-[a-z]+)+)`", (DOCS / "limits.md").read_text("utf-8").split('## What "not')[0]))
    assert named
    profile = (ROOT / "profiles/fernhill-larch-13.toml").read_text("utf-8")
    assert [name for name in named if f"[check.{name}]" not in profile] == []
