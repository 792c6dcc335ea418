"""A draft of a good unit, corrected by a person, judges every faulty snapshot of that unit right.

The corrected file is ``tests/data/drafts/larch-13-corrected.toml``. The truth
about the snapshots stands in ``tests/data/trees/README.md``.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from conftest import RealTree
from support.drafting_page import CORRECTED, changed_lines, good_draft, with_diff
from support.looking import look
from support.snapshot_facts import DECLARED_ONLY, FAULTS

from usbwatch.compare import findings
from usbwatch.drafting import LAYOUTS
from usbwatch.localise import suspects
from usbwatch.model import Symptom, Verdict
from usbwatch.profile import find, load

PAGE = Path(__file__).parents[2] / "docs" / "drafting.md"
PROFILE = load(str(CORRECTED))


@pytest.mark.parametrize("snapshot", FAULTS)
def test_every_snapshot_is_judged_right(real_tree: RealTree, snapshot: str) -> None:
    found = findings(look(real_tree(snapshot)), PROFILE)
    assert [finding.device for finding in found.findings] == [device.id for device in PROFILE.devices]
    for finding in found.findings:
        if finding.device in FAULTS[snapshot]:
            assert (finding.verdict, finding.rung, finding.symptom) == FAULTS[snapshot][finding.device]
        else:
            assert finding.verdict is Verdict.PRESENT, finding
            assert finding.symptom is (Symptom.UNSEEN if finding.device in DECLARED_ONLY else Symptom.WORKING)
    assert (found.unexpected, found.unplaced, found.notices) == ((), (), ())


def test_helpers_are_set_apart(real_tree: RealTree) -> None:
    found = findings(look(real_tree("external-devices")), PROFILE)
    assert [node.location.rpartition("/")[2] for node in found.external] == ["1", "2", "3"]


ACCUSED = {
    "keyboard-missing": {"top-case"},
    "keyboard-touchpad-missing": {"top-case", "top-case-flex"},
    "battery-not-present": {"battery-pack", "battery-connector"},
    "touchpad-enumeration-failure": {"top-case"},
    "camera-full-speed": {"display-assembly", "display-cable"},
    "internal-hub-missing": {"mainboard"},
}
"""What the fault lies in, as the unit is built: a single device silent accuses what carries it alone."""


@pytest.mark.parametrize("snapshot", ACCUSED)
def test_the_parts_that_can_explain_it_are_suspected_first(real_tree: RealTree, snapshot: str) -> None:
    found = findings(look(real_tree(snapshot)), PROFILE)
    assert suspects(found, PROFILE).parts[0].part in ACCUSED[snapshot]


CORRECTABLE = {"name", "cost", "minutes", "needs", "joins", "within", "question"}
"""Names (a check's question names its part), prices and times, and what hangs on what."""
TOP = {"source", "money", "digest"}


def test_a_person_changed_names_costs_and_links_alone(real_tree: RealTree) -> None:
    before: dict[str, Any] = tomllib.loads(good_draft(real_tree("healthy")))
    after: dict[str, Any] = tomllib.loads(CORRECTED.read_text(encoding="utf-8"))
    assert {key for key in after if before.get(key) != after[key]} <= {
        *TOP,
        "subassembly",
        "link",
        "device",
        "check",
    }
    for table in ("subassembly", "link", "device", "check", "section", "rail"):
        assert list(before[table]) == list(after[table])
        for id_, entry in after[table].items():
            differing = {key for key in entry | before[table][id_] if entry.get(key) != before[table][id_].get(key)}
            assert differing <= CORRECTABLE, id_


def test_the_page_shows_what_was_changed(real_tree: RealTree) -> None:
    """Renew it with ``PYTHONPATH=tests python -m support.drafting_page HEALTHY-TREE``."""
    page = PAGE.read_text(encoding="utf-8")
    assert page == with_diff(page, good_draft(real_tree("healthy")))


def test_few_lines_were_changed(real_tree: RealTree) -> None:
    draft = good_draft(real_tree("healthy"))
    changed = changed_lines(draft)
    assert changed
    by_hand = Path(find("fernhill-larch-13").path).read_text(encoding="utf-8").splitlines()
    assert len(changed) * 5 < min(len(by_hand), len(draft.splitlines()))


def test_the_page_has_every_layout_with_all_that_it_assumes() -> None:
    page = PAGE.read_text(encoding="utf-8")
    for layout in LAYOUTS.values():
        section = page.split(f"### `{layout.id}`: {layout.name}\n")[1].split("\n## ")[0].split("\n### ")[0]
        assert [line[2:] for line in section.splitlines() if line.startswith("- ")] == list(layout.assumes)
