"""The table of all that is done to the emulated laptops, made from the rows that the tests run.

``PYTHONPATH=tests python -m virtual.scenario_page`` writes it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path

from virtual.scenarios import COLD, PROFILES, ROWS, Row

__all__ = ["PAGE", "page"]

PAGE = Path(__file__).parent / "README.md"
_HEAD = """# What is done to the emulated laptops, and what is told

Made from the rows of `scenarios.py` by `PYTHONPATH=tests python -m virtual.scenario_page`; a test holds it to them.
Each row is run by `python -m pytest -m virtual`: the real program captures, and where "watch" is said watches, in a
laptop that is emulated with a real kernel, and what it then says must be what was done. The rows of a laptop are gone
through in this order, without a start between them. The Heron's keyboard, on PS/2, is unseen in all of them.
"""


def page() -> str:
    """The whole page."""
    names = {layout: _names(path) for layout, path in PROFILES.items()}
    lines = [_HEAD]
    for layout in PROFILES:
        lines += [f"## {layout}\n", "| what is done | what is told |", "| --- | --- |"]
        lines += [f"| {row.name} | {_told(row, names[layout])} |" for row in ROWS if row.layout == layout]
        lines += [f"| from the start on: {done} | {told} |" for where, done, told in COLD if where == layout]
        lines.append("")
    return "\n".join(lines)


def _names(profile: Path) -> dict[str, str]:
    """What the profile calls its devices and parts."""
    document = tomllib.loads(profile.read_text("utf-8"))
    kinds = ("device", "subassembly", "link")
    return {id_: one["name"] for kind in kinds for id_, one in document[kind].items()}


def _told(row: Row, names: dict[str, str]) -> str:
    return "; ".join(_words(row, names)) or "nothing is wrong"


def _words(row: Row, names: dict[str, str]) -> Iterator[str]:
    by_said: dict[str, list[str]] = {}
    for device, (verdict, symptom) in row.untrue.items():
        said = verdict if symptom in ("absent", "not observed", "working") else f"{verdict} ({symptom})"
        by_said.setdefault(said, []).append(names[device])
    yield from (f"{', '.join(devices)} {said}" for said, devices in by_said.items())
    if row.external:
        yield f"outside: {', '.join(f'{identity} at `{place}`' for identity, place in row.external)}"
    if row.parts:
        yield "likeliest " + " or ".join(sorted(names.get(one, "software") for one in row.parts))
    if row.cleared:
        yield f"not {', '.join(sorted(names[one] for one in row.cleared))}"
    if row.watched:
        yield f"watch: {', '.join(dict.fromkeys(change for change, _ in row.watched))}"


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
