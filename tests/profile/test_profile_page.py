"""docs/profile.md says every key of the format, with its true default and an example that is right."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from usbwatch.model import FUNCTIONS
from usbwatch.profile import document_schema, parse
from usbwatch.profile.shape import Reach

PAGE = (Path(__file__).parent.parent.parent / "docs" / "profile.md").read_text(encoding="utf-8")
SCHEMA: Any = document_schema()

TABLES = {
    "Top of the file": "Document",
    "`[match]`": "MatchTable",
    "`[variant.ID]`": "VariantTable",
    "`[subassembly.ID]`": "SubassemblyTable",
    "`[section.ID]`": "WithinTable",
    "`[link.ID]`": "LinkTable",
    "`[rail.ID]`": "WithinTable",
    "`[device.ID]`": "DeviceTable",
    "`[check.ID]`": "CheckTable",
    "`[money]`": "MoneyTable",
    "`[basis]`": "BasisTable",
}
"""Heading of the page against the table of the schema."""


def rows(heading: str) -> dict[str, list[str]]:
    """Cells of a documented table, by its key."""
    section = PAGE.split(f"\n### {heading}\n")[1].split("\n### ")[0].split("\n## ")[0]
    lines = re.findall(r"^\| `([a-z_]+)` \| (.*) \|$", section, re.MULTILINE)
    return {key: rest.split(" | ") for key, rest in lines}


def default_in_words(table: dict[str, Any], key: str) -> str:
    """The default cell that the schema demands."""
    schema = table["properties"][key]
    if key in table["required"]:
        return "required"
    if "$ref" in schema:
        return "empty"
    if "default" not in schema:
        return "not known"
    default = schema["default"]
    words = {
        "false": "`false`",
        "": '`""`',
        "[]": "`[]`",
        "{}": "`{}`",
        "1.0": "`1`",
        "1": "`1`",
        "working": '`"working"`',
    }
    return words["false" if default is False else str(default)]


def test_every_table_of_the_schema_has_a_heading() -> None:
    assert set(TABLES.values()) == set(SCHEMA["$defs"])


@pytest.mark.parametrize(("heading", "name"), TABLES.items(), ids=TABLES.keys())
def test_every_key_is_documented_and_nothing_else(heading: str, name: str) -> None:
    assert list(rows(heading)) == list(SCHEMA["$defs"][name]["properties"])


@pytest.mark.parametrize(("heading", "name"), TABLES.items(), ids=TABLES.keys())
def test_every_key_has_meaning_unit_its_default_and_a_right_example(heading: str, name: str) -> None:
    table = SCHEMA["$defs"][name]
    for key, (meaning, unit, default, example) in rows(heading).items():
        assert len(meaning) > 5, key
        assert unit, key
        assert default == default_in_words(table, key), key
        value = tomllib.loads(example.strip("`"))[key]
        jsonschema.validate(value, {**table["properties"][key], "$defs": SCHEMA["$defs"]})


def test_the_whole_profile_on_the_page_is_a_good_one() -> None:
    (text,) = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    profile = parse(text, "page.toml")
    assert (len(profile.parts), len(profile.devices), len(profile.checks)) == (4, 1, 1)


@pytest.mark.parametrize("words", [FUNCTIONS, Reach.__args__], ids=["function", "reaches"])  # type: ignore[attr-defined]  # a Literal's words
def test_every_word_is_on_the_page(words: tuple[str, ...]) -> None:
    for word in words:
        assert f"`{word}`" in PAGE


def test_links_within_the_page_lead_somewhere() -> None:
    anchors = {
        re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-")
        for heading in re.findall(r"^#+ (.*)$", PAGE, re.MULTILINE)
    }
    links = re.findall(r"\]\(#([^)]*)\)", PAGE)
    assert links
    assert set(links) <= anchors
