"""The page that docs/stick.md shows, the keys that it names, and the beeps that the stick's own page promises."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

from onboard.scenes import SCENES

from usbwatch.kit.signals import DONE, FAILED
from usbwatch.onboard.answer import answer_page
from usbwatch.onboard.foot import KEYS

DOCS = (Path(__file__).parents[2] / "docs/stick.md").read_text("utf-8")


def test_the_page_that_the_docs_show_is_the_one_that_is_made() -> None:
    (shown,) = re.findall(r"```text\n(Fernhill.*?)```", DOCS, re.DOTALL)
    made = "".join(f"{one.text.rstrip()}\n" for one in answer_page(SCENES["top-case-lost"], 80, 24))
    assert shown == made


def test_every_key_is_in_the_docs() -> None:
    named = re.findall(r"^\| `([a-z])`", DOCS, re.MULTILINE)
    assert sorted(named) == sorted(KEYS)


def test_the_beeps_are_as_the_stick_s_own_page_says() -> None:
    page = files("usbwatch.stick").joinpath("READ-ME.txt").read_text("ascii")
    numbers = {2: "two slow", 6: "six quick"}
    assert all(f"{numbers[beeps]} beeps, three times" in page for beeps, _, _ in (DONE, FAILED))
    assert {groups for _, groups, _ in (DONE, FAILED)} == {3}
    assert DONE[2] > FAILED[2]
    assert all(len(line) <= 80 for line in page.splitlines())
