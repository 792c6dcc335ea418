"""The reference pages say what the program has now, and nothing else."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from support.commands_page import PAGE as COMMANDS
from support.commands_page import commands_page
from support.make_readme import ROOT
from support.page_tables import names_in, rows_between, table_rows

from usbwatch.casebook.migrations import LATEST
from usbwatch.cli import exits
from usbwatch.cli.commands import _COMMANDS
from usbwatch.compare import absence, blind_spots, claims, judging, software
from usbwatch.errors import EXIT_BAD_INPUT
from usbwatch.localise.kinds import SiteKind

REFERENCE = ROOT / "docs" / "reference"
PACKAGE = ROOT / "usbwatch"
EVIDENCE = (REFERENCE / "evidence.md").read_text("utf-8")
SOURCES = (
    r"no source",
    r"`?(drivers|sound|net)/",
    r"Documentation/",
    r"\b(USB|ACPI|SMBIOS|E-EDID) ",
    r"pci\.ids",
    r"modprobe\.d\(5\)",
    r"^R\. Jonker",
)
"""How a source looks: a file of the kernel, a standard with its section, a list, a paper; or that there is none."""


def test_the_commands_are_those_that_the_program_has() -> None:
    assert COMMANDS.read_text("utf-8") == commands_page(), "renew it, see DEVELOPERS.md"
    assert {one.name for one in _COMMANDS} <= set(re.findall(r"^## usbwatch (\w+)$", commands_page(), re.MULTILINE))


def codes_of(text: str) -> dict[int, list[str]]:
    return {int(row[0]): row for row in table_rows(text) if re.fullmatch(r"\d+", row[0])}


def test_every_exit_code_is_told_with_its_name() -> None:
    told = {code: names_in(row[1]) for code, row in codes_of((REFERENCE / "exit-codes.md").read_text("utf-8")).items()}
    named: dict[int, list[str]] = {}
    for name in exits.__all__:
        if name.isupper():
            named.setdefault(getattr(exits, name), []).append(name)
    assert {code: sorted(names) for code, names in told.items()} == {
        code: sorted(names) for code, names in named.items()
    }
    assert EXIT_BAD_INPUT == exits.BAD_INPUT


def test_which_exit_code_counts_of_several_captures_is_told_in_its_order() -> None:
    page = (REFERENCE / "exit-codes.md").read_text("utf-8")
    found = re.search(r"in this order: ([0-9, ]+)\.", page)
    assert found
    told = [int(code) for code in found[1].split(", ")]
    assert set(told) == {0, 1, 2, 3, 10, 11}
    for least, most in pairwise(told):
        assert exits.worst([least, most]) == exits.worst([most, least]) == most


def test_the_readme_tells_the_same_exit_codes() -> None:
    readme = codes_of((ROOT / "README.md").read_text("utf-8"))
    assert set(readme) == set(codes_of((REFERENCE / "exit-codes.md").read_text("utf-8")))


def sources() -> Iterator[tuple[Path, str]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        yield path, path.read_text("utf-8")


def formats() -> set[str]:
    """Every format that some module writes or reads: a constant that a document's ``format`` is given."""
    found = {word for _, text in sources() for word in re.findall(r'"(usbwatch-[a-z-]+[a-z])"', text)}
    return found - {"usbwatch-kit"}  # the name by which a kit's sender calls itself, in HTTP


def test_every_format_is_told_once_with_its_schema() -> None:
    rows = [row for row in table_rows((REFERENCE / "files.md").read_text("utf-8")) if row[0].startswith("`usbwatch-")]
    told = [names_in(row[0])[0] for row in rows]
    assert sorted(told) == sorted(formats())
    assert {row[1] for row in rows} == {"1"}
    assert f"SQLite, schema {LATEST}," in (REFERENCE / "files.md").read_text("utf-8")


def variables() -> set[str]:
    """Every environment variable that the package asks for by name, and those that click is told of."""
    found: set[str] = set()
    for path, text in sources():
        if not re.search("environ|envvar|VARIABLE", text):
            continue
        for node in ast.walk(ast.parse(text, str(path))):
            found |= {word for word in _asked(node) if re.fullmatch(r"[A-Z0-9_]{2,}", word)}
    return found


def _asked(node: ast.AST) -> Iterator[str]:
    match node:
        case ast.Call(
            func=ast.Attribute(attr="get" | "setdefault", value=of), args=[ast.Constant(value=str(name)), *_]
        ):
            if ast.unparse(of).endswith("environ"):
                yield name
        case ast.keyword(arg="envvar", value=ast.Constant(value=str(name))):
            yield name
        case ast.Assign(targets=[ast.Name(id="VARIABLE")], value=ast.Constant(value=str(name))):
            yield name


NOT_OURS = {"COLUMNS", "TZ", "XDG_DATA_HOME", "XDG_CACHE_HOME", "_USBWATCH_COMPLETE"}
"""Heeded by what usbwatch is made with: Python's terminal size and clock, platformdirs, click."""


def test_every_environment_variable_is_told() -> None:
    rows = table_rows((REFERENCE / "environment.md").read_text("utf-8"))
    assert {name for row in rows for name in names_in(row[0])} == variables() | NOT_OURS


@pytest.mark.parametrize(
    ("mark", "rules"),
    [
        ("judging", [rule.__name__.lstrip("_") for rule in judging._RULES]),
        ("software", [rule.__name__.lstrip("_") for rule in software._RULES]),
        ("claims", [rule.id for rule in claims._RULES]),
        ("kinds", [kind.value for kind in SiteKind]),
        ("buses", list(blind_spots.BUSES_OF_FUNCTION)),
    ],
    ids=["judging", "software", "claims", "kinds", "buses"],
)
def test_the_evidence_rules_are_those_of_the_code_in_their_order(mark: str, rules: list[str]) -> None:
    assert [names_in(row[0])[0] for row in rows_between(EVIDENCE, mark)] == rules


def test_each_function_is_told_with_its_buses() -> None:
    told = {names_in(row[0])[0]: tuple(row[1].split(", ")) for row in rows_between(EVIDENCE, "buses")}
    assert told == blind_spots.BUSES_OF_FUNCTION


def test_the_rules_for_what_is_absent_are_in_the_code() -> None:
    named = [names_in(row[0])[0] for row in rows_between(EVIDENCE, "absence")]
    assert [name for name in named if not callable(getattr(absence, name, None))] == []


def test_every_rule_has_a_source_or_says_that_it_has_none() -> None:
    rules = [row for row in table_rows(EVIDENCE) if len(row) == 3]
    assert len(rules) > 40
    assert [row for row in rules if not any(re.search(one, row[2]) for one in SOURCES)] == []
