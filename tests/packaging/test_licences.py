"""Every dependency is on the page of licences, with what it says of itself, and somebody has looked at each licence."""

from __future__ import annotations

import pytest
from support.licences import PERMITTED, ROOT, Use, declared, licence_of, single

PAGE = (ROOT / "docs" / "licences.md").read_text("utf-8")
ROWS = dict(
    [cell.strip() for cell in line.strip("|").split("|")][:2] for line in PAGE.splitlines() if line.startswith("| ")
)
EVERY = [name for use in declared() for name in use.names]
HERE = [name for use in declared() if "fuzz" not in use.title for name in use.names]
"""What the tests' own environment has; the fuzzer stands in an environment of its own (DEVELOPERS.md)."""


def test_the_declared_ones_are_all_there_is_to_check() -> None:
    assert {"click", "numpy", "pyudev", "psycopg", "hatchling", "pytest"} <= set(EVERY)


@pytest.mark.parametrize("name", HERE)
def test_a_declared_dependency_is_on_the_page_with_the_licence_that_it_names(name: str) -> None:
    assert ROWS[name] == licence_of(name)


@pytest.mark.parametrize("use", declared(), ids=lambda use: use.title)
def test_each_stands_under_what_it_is_for(use: Use) -> None:
    section = PAGE.partition(f"## {use.title}\n")[2].partition("\n## ")[0]
    assert all(f"| {name} |" in section for name in use.names)


def test_what_each_licence_on_the_page_asks_is_told() -> None:
    packages = {
        name: of for name, of in ROWS.items() if name not in PERMITTED and name not in ("package", "licence", "---")
    }
    named = {one for of in packages.values() for one in single(of)}
    assert named <= PERMITTED.keys()
    assert all(ROWS[one] == PERMITTED[one] for one in named)


def test_copyleft_is_an_extra_or_a_tool_and_never_needed_to_run() -> None:
    """The Apache Software Foundation's list of licences by what they ask (category B and X: MPL, LGPL, GPL)."""
    need = next(use for use in declared() if use.title == "To run")
    assert not [name for name in need.names if any(one in ROWS[name] for one in ("GPL", "MPL"))]
