"""A re-draft into an edited file: what a person wrote stays, letter by letter; what is new is added."""

from __future__ import annotations

from dataclasses import replace

import pytest
from conftest import RealTree
from hypothesis import given, settings
from hypothesis import strategies as st
from support.looking import look

from usbwatch.capture import load
from usbwatch.drafting import LAYOUTS, Draft, census, draft, notices, text_of, updated
from usbwatch.model import Capture
from usbwatch.profile import parse, sealed, shipped

USB = "pci0000:00/14.0/usb2"


def fresh(capture: Capture) -> Draft:
    return draft(capture, LAYOUTS["clamshell"], today="2026-11-29")


def lines_kept(before: str, after: str) -> bool:
    """Whether every line of ``before`` stands in ``after``, in the same order."""
    rest = iter(after.split("\n"))
    return all(line in rest for line in before.split("\n"))


WHOLE = load(str(shipped("captures") / "larch-13-healthy.json"))
_GONE = (f"{USB}/4.3", f"{USB}/4.4")
BASIC = replace(WHOLE, nodes=tuple(node for node in WHOLE.nodes if not node.location.startswith(_GONE)))
"""A unit of the model without fingerprint and smart card reader."""


def edited(capture: Capture) -> str:
    """A draft as a person may leave it: parts renamed, a price, remarks, tables in another order."""
    text = text_of(fresh(capture))
    text = text.replace("top-case-flex", "wide-flex").replace('"Top-case flex"', '"The wide flex"')
    text = text.replace("\n[device.keyboard]\n", "\n# ours: the US layout\n[device.keyboard]\n")
    head, money, tail = text.partition("# --- Money")
    return head + "# what follows was written on a Friday\n" + money + tail


def test_edits_comments_and_order_survive_and_new_devices_come_last() -> None:
    before = edited(BASIC)
    result = updated(before, parse(before, "mine.toml"), fresh(WHOLE))
    assert result.added == ("fingerprint-reader", "smart-card-reader")
    assert (result.unseen, result.remarks) == ((), ())
    assert lines_kept(before, result.text)
    profile = parse(result.text, "mine.toml")
    assert [one.id for one in profile.devices][-2:] == ["fingerprint-reader", "smart-card-reader"]
    assert result.text.index("[device.smart-card-reader]") < result.text.index("# --- Hand checks")
    assert "Added by a later draft" in result.text


def test_a_new_device_speaks_the_words_of_the_file() -> None:
    """The person has renamed the flex; the keyboard hangs on it, and so does what sits beside the keyboard."""
    before = edited(BASIC)
    profile = parse(updated(before, parse(before, "mine.toml"), fresh(WHOLE)).text, "mine.toml")
    needs = {one.id: one.needs for one in profile.devices}
    assert "wide-flex" in needs["keyboard"]
    assert needs["fingerprint-reader"] == needs["keyboard"]


def test_devices_no_longer_seen_are_kept_and_named() -> None:
    before = edited(WHOLE)
    result = updated(before, parse(before, "mine.toml"), fresh(BASIC))
    assert (result.text, result.added) == (before, ())
    assert result.unseen == ("fingerprint-reader", "smart-card-reader")


def test_a_device_behind_a_hash_is_not_added_again() -> None:
    before = text_of(fresh(WHOLE))
    start = before.index("[device.fingerprint-reader]")
    table = before[start : before.index("\n\n", start)]
    turned_down = before.replace(table, "\n".join(f"# {line}" for line in table.split("\n")))
    result = updated(turned_down, parse(turned_down, "mine.toml"), fresh(WHOLE))
    assert (result.added, result.text) == ((), turned_down)


@pytest.mark.parametrize("whole_before", [True, False])
def test_a_keyboard_that_the_kernel_only_assumes_is_not_added(real_tree: RealTree, whole_before: bool) -> None:
    """The truth: the real tree has its USB keyboard taken out, and QEMU's i8042 port is empty (tests/data/trees)."""
    before = text_of(fresh(look(real_tree("healthy"))))
    if not whole_before:  # the comment that says why it was left out is gone: the file's own keyboard says it as well
        before = before.split("# --- Left out")[0] + "# --- Hand" + before.split("# --- Hand")[1]
    result = updated(before, parse(before, "mine.toml"), fresh(look(real_tree("keyboard-missing"))))
    assert (result.added, result.text, result.unseen) == ((), before, ("keyboard",))
    assert any("platform/i8042/kbd" in one and "assumes" in one for one in result.remarks)


def test_what_the_comments_leave_out_is_not_added_and_said() -> None:
    place = f"{USB}/4.3"
    before = edited(BASIC)
    told = f"#   {'a reader with a name that fills the line ' * 2}, {place}: we do\n#   not want it\n"
    refused = before.replace("# --- Left out, with the reason", f"# --- Left out, with the reason\n{told}#", 1)
    assert refused != before
    result = updated(refused, parse(refused, "mine.toml"), fresh(WHOLE))
    assert result.added == ("smart-card-reader",)
    assert any(place in one and "comments leave out" in one for one in result.remarks)


def test_a_unit_that_lacks_what_its_profile_expects_is_no_good_unit_to_draft_from(real_tree: RealTree) -> None:
    profile = parse(text_of(fresh(look(real_tree("healthy")))), "mine.toml")
    for name, lost in (("keyboard-missing", "Keyboard missing"), ("healthy", "")):
        seen = look(real_tree(name))
        made = fresh(seen)
        told = notices(seen, made, parse(text_of(made), "draft"), census(seen), into=profile)
        assert any("no good unit to draft from" in one and lost in one for one in told) is bool(lost)
        assert not any("stand as comments" in one for one in told)


def test_a_name_that_is_not_used_is_said_beside_the_draft() -> None:
    nameless = replace(WHOLE, unit=replace(WHOLE.unit, product_name="To Be Filled By O.E.M."))
    made = fresh(nameless)
    told = notices(nameless, made, parse(text_of(made), "draft"), census(nameless))
    assert any(one.startswith("Not used: product_name is 'To Be Filled By O.E.M.'") for one in told)


def test_the_same_capture_changes_nothing() -> None:
    before = text_of(fresh(WHOLE))
    result = updated(before, parse(before, "mine.toml"), fresh(WHOLE))
    assert (result.text, result.added, result.unseen, result.remarks) == (before, (), (), ())


def test_what_differs_is_told_and_left() -> None:
    before = text_of(fresh(WHOLE)).replace("speed_mbps = 480", "speed_mbps = 5000").replace("1209:0001", "1209:000f")
    result = updated(before, parse(before, "mine.toml"), fresh(WHOLE))
    assert result.text == before
    assert any(one.startswith("keyboard: this capture shows identity 1209:0001") for one in result.remarks)
    assert any("speed_mbps 480, the file says 5000" in one for one in result.remarks)


def test_a_hand_written_profile_takes_new_devices_too() -> None:
    """The shipped profile of the same model, less two devices; it has ids and parts of its own."""
    text = (shipped("profiles") / "fernhill-larch-13.toml").read_text(encoding="utf-8")
    for id_ in ("headset-audio", "ethernet"):
        start = text.index(f"[device.{id_}]")
        text = text[:start] + text[text.index("\n\n", start) + 2 :]
    result = updated(text, parse(text, "mine.toml"), fresh(WHOLE))
    assert lines_kept(text, result.text)
    profile = parse(result.text, "mine.toml")
    added = {one.id: one for one in profile.devices if one.id in result.added}
    assert {one.locations for one in added.values()} == {(f"{USB}/9",), ("pci0000:00/19.0",)}
    assert {one.within for one in added.values()} == {"io-board", "mainboard"}


def test_a_byte_order_mark_stays() -> None:
    before = "\ufeff" + edited(BASIC)
    result = updated(before, parse(before, "mine.toml"), fresh(WHOLE))
    assert result.text.startswith("\ufeff#")
    assert result.added == ("fingerprint-reader", "smart-card-reader")
    assert lines_kept(before, result.text)


def test_line_ends_of_the_other_kind_stay() -> None:
    before = edited(BASIC).replace("\n", "\r\n")
    result = updated(before, parse(before, "mine.toml"), fresh(WHOLE))
    assert lines_kept(before, result.text)
    assert result.text.replace("\r\n", "").count("\n") == 0
    assert not parse(sealed(result.text), "mine.toml").edited


def test_a_file_with_its_devices_in_the_middle_or_at_the_end() -> None:
    text = edited(BASIC)
    start = text.index("[device.camera]")
    table = text[start : text.index("\n\n", start) + 2]
    for moved in (text.replace(table, "") + "\n" + table, table_before_checks(text, table)):
        result = updated(moved, parse(moved, "mine.toml"), fresh(WHOLE))
        assert lines_kept(moved.rstrip("\n"), result.text)
        assert {"fingerprint-reader", "camera"} <= {one.id for one in parse(result.text, "mine.toml").devices}


def table_before_checks(text: str, table: str) -> str:
    return text.replace(table, "").replace("[check.liquid", f"{table}[check.liquid")


def test_devices_of_another_model_get_ids_that_are_free() -> None:
    before = text_of(fresh(WHOLE))
    heron = load(str(shipped("captures") / "heron-14-healthy.json"))
    result = updated(before, parse(before, "mine.toml"), fresh(heron))
    profile = parse(result.text, "mine.toml")
    assert len({one.id for one in profile.devices}) == len(profile.devices)
    assert "touchscreen" in result.added


_REMARKS = st.text(st.characters(exclude_categories=["Cc", "Cs"]), max_size=20)


@pytest.mark.properties
@settings(deadline=None)
@given(
    places=st.lists(st.integers(0, 400), max_size=12),
    remarks=st.lists(_REMARKS, min_size=12, max_size=12),
    gone=st.sets(st.sampled_from(["camera", "disk", "lid", "battery", "graphics"]), max_size=3),
)
def test_whatever_remarks_stand_where_every_line_survives(
    places: list[int], remarks: list[str], gone: set[str]
) -> None:
    lines = text_of(fresh(BASIC)).split("\n")
    for place, remark in zip(places, remarks, strict=False):
        at = place % len(lines)
        if not lines[at].startswith((" ", "]")):  # not within a list that goes over several lines
            lines.insert(at, f"# {remark}")
    before = "\n".join(lines)
    unit = fresh(WHOLE)
    without = replace(unit, entries=tuple(one for one in unit.entries if one.device.id not in gone))
    result = updated(before, parse(before, "mine.toml"), without)
    assert lines_kept(before, result.text)
    old, new = parse(before, "mine.toml"), parse(result.text, "mine.toml")
    assert new.devices[: len(old.devices)] == old.devices
    assert set(result.unseen) == gone
    assert (new.parts, new.checks, new.money) == (old.parts, old.checks, old.money)
