"""Renews in docs/drafting.md what a person changed in the draft of a good unit.

Run: ``PYTHONPATH=tests python -m support.drafting_page HEALTHY-TREE``, with the
snapshot ``healthy`` of ``tests/data/trees`` unpacked.
"""

from __future__ import annotations

import re
import sys
from difflib import SequenceMatcher
from pathlib import Path

from support.looking import look

from usbwatch.drafting import LAYOUTS, draft, text_of

__all__ = ["CORRECTED", "changed_lines", "good_draft", "with_diff"]

ROOT = Path(__file__).parents[2]
CORRECTED = ROOT / "tests" / "data" / "drafts" / "larch-13-corrected.toml"
_PAGE = ROOT / "docs" / "drafting.md"
_BLOCK = re.compile(r"<!-- diff -->.*?<!-- /diff -->", re.DOTALL)
_TABLE = re.compile(r"# \[money\]|\[[a-z-]+(?:\.[a-z0-9-]+)?\]")


def good_draft(tree: Path) -> str:
    """The draft of the good unit, as of the day on which the corrected file was drafted."""
    return text_of(draft(look(tree), LAYOUTS["clamshell"], today="2026-11-29"))


def changed_lines(before: str) -> list[str]:
    """Lines of the corrected file that the draft does not have in their place."""
    return [line[1:] for line in _diff(before) if line.startswith("+")]


def _diff(before: str) -> list[str]:
    """Lines taken out and put in, each group under the head of its table."""
    old, new = before.splitlines(), CORRECTED.read_text(encoding="utf-8").splitlines()
    told: list[str] = []
    head = ""
    for kind, start, end, first, last in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if kind == "equal":
            continue
        table = next((line for line in reversed(old[: start + 1]) if _TABLE.fullmatch(line)), "")
        if table and table != head:
            told += ["", f" {table}"]
        head = table
        told += [f"-{line}" for line in old[start:end]] + [f"+{line}" for line in new[first:last]]
    return told


def with_diff(page: str, before: str) -> str:
    """The page with the count and the lines as they are now."""
    changed, lines = len(changed_lines(before)), len(before.splitlines())
    body = "\n".join(_diff(before)).strip("\n")
    counted = f"Of the {lines} lines of the draft, {changed} were changed:"
    return _BLOCK.sub(lambda _: f"<!-- diff -->\n{counted}\n\n```diff\n{body}\n```\n<!-- /diff -->", page)


if __name__ == "__main__":
    _PAGE.write_text(with_diff(_PAGE.read_text(encoding="utf-8"), good_draft(Path(sys.argv[1]))), encoding="utf-8")
