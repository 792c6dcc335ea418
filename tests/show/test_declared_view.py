"""Firmware's word on the pages: what no finding speaks of, and nothing twice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from support.hostile import HOSTILE, poisoned
from support.invented import NO_SUSPECTS, PROFILE, TOP_CASE_LOST, WHOLE, capture, findings
from support.looking import look

from usbwatch.compare import findings as compared
from usbwatch.model import Declaration, DeclaredState
from usbwatch.profile import find
from usbwatch.show import Checked, Outcome, capture_view, check_document, check_view, outcome, plain
from usbwatch.show.declared_view import declared_in_short, declared_lines, declared_stamp

_Tree = Callable[..., Path]

PORT = Declaration(
    what="part wired to USB port 10",
    state=DeclaredState.NOT_FOUND,
    said_by="USB port table: hardwired, in the display half",
    where="pci0000:00/14.0/usb2/10",
    because="something should be wired here, and nothing enumerated",
)
PAD = Declaration(
    what="HID device on I2C",
    state=DeclaredState.NOT_SEEN,
    said_by="ACPI BRWL0001 (PNP0C50), status 15: present, enabled, shown, functioning",
    where="acpi/_SB_.PCI0.I2C0.TPD0",
    because="no driver for it is loaded (i2c_hid_acpi), so nobody asked",
)
FAN = replace(
    PAD,
    what="fan",
    state=DeclaredState.OFF,
    said_by="ACPI PNP0C0B, status 0: not present",
    where="acpi/_SB_.FAN0",
    because="firmware says so",
    function="fan",
)
LID = Declaration(
    what="lid switch", state=DeclaredState.UNPROVEN, said_by="ACPI PNP0C0D", where="acpi/_SB_.LID1", function="lid"
)
FOUND = replace(LID, what="mains adapter", state=DeclaredState.FOUND, where="acpi/_SB_.AC0_")


def _checked(*declared: Declaration, generic: bool = False) -> Checked:
    return Checked(
        capture=capture(),
        profile=replace(PROFILE, generic=generic),
        findings=findings(declared=declared),
        suspects=NO_SUSPECTS,
    )


def _section(checked: Checked, width: int = 80) -> str:
    return plain(declared_lines(checked), width)


def test_the_section_names_what_is_open_with_its_reason_and_source() -> None:
    assert _section(_checked(FOUND, LID, FAN, PAD, PORT)) == (
        "\n"
        "WHAT FIRMWARE SAYS\n"
        "  Firmware names 5 internal parts; the kernel found 1 and takes 1 on its word.\n"
        "  Evidence, not proof: firmware also names parts that this unit was never given.\n"
        "! not found   part wired to USB port 10\n"
        "              something should be wired here, and nothing enumerated\n"
        "              pci0000:00/14.0/usb2/10: USB port table: hardwired, in the display\n"
        "              half\n"
        "? not seen    HID device on I2C\n"
        "              no driver for it is loaded (i2c_hid_acpi), so nobody asked\n"
        "              acpi/_SB_.PCI0.I2C0.TPD0: ACPI BRWL0001 (PNP0C50), status 15:\n"
        "              present, enabled, shown, functioning\n"
        "· off         fan\n"
        "              firmware says so\n"
        "              acpi/_SB_.FAN0: ACPI PNP0C0B, status 0: not present\n"
    )


@pytest.mark.parametrize(
    "told",
    [
        pytest.param(FOUND, id="found"),
        pytest.param(LID, id="taken on its word"),
        pytest.param(replace(PORT, where="pci0000:00/14.0/usb2/4.1"), id="at a place that the profile names"),
        pytest.param(replace(PAD, function="keyboard"), id="of a function that a finding speaks of"),
    ],
)
def test_what_a_finding_speaks_of_is_not_told_again(told: Declaration) -> None:
    assert _section(_checked(told)) == ""


def test_a_firmware_made_for_another_board_does_not_fill_the_page() -> None:
    many = tuple(replace(PORT, where=f"pci0000:00/14.0/usb2/{number}") for number in range(20, 50))
    shown = _section(_checked(*many))
    assert shown.count("! not found") == 12
    assert shown.endswith("  and 18 more\n")


def test_beside_the_verdict_it_stands_only_where_no_profile_fits() -> None:
    ports = (PORT, replace(PORT, where="pci0000:00/14.0/usb2/11"))
    assert declared_stamp(_checked(*ports, generic=False)) == ""
    assert declared_stamp(_checked(PAD, FAN, generic=True)) == ""
    assert declared_stamp(_checked(PORT, generic=True)) == (
        "Firmware names more that was not found: part wired to USB port 10"
    )
    assert declared_stamp(_checked(*ports, generic=True)).endswith(": parts wired to USB ports 10 and 11")


def test_firmwares_word_changes_no_outcome() -> None:
    """Exit codes hang on the outcome, and that on findings alone."""
    assert outcome(_checked(PORT, PAD, generic=True).findings) is Outcome.WHOLE
    assert outcome(replace(TOP_CASE_LOST.findings, declared=(PORT,))) is outcome(TOP_CASE_LOST.findings)


@pytest.mark.parametrize(
    ("declared", "text"),
    [
        ((), ""),
        ((FOUND, FOUND), "firmware names 2 internal parts; the kernel found 2\n"),
        (
            (FOUND, LID, PORT, PAD),
            (
                "firmware names 4 internal parts; the kernel found 1 and takes 1 on its word\n"
                "  not found: part wired to USB port 10\n"
                "  not seen: HID device on I2C\n"
            ),
        ),
    ],
    ids=["nothing", "all found", "some open"],
)
def test_in_short(declared: tuple[Declaration, ...], text: str) -> None:
    assert plain(declared_in_short(declared), 80) == text


# --- Whole pages of a real kernel's trees ---------------------------------------------------


def _page(root: Path, profile: str) -> tuple[Checked, str]:
    captured, chosen = look(root), find(profile)
    found = compared(captured, chosen)
    checked = Checked(capture=captured, profile=chosen, findings=found, suspects=NO_SUSPECTS)
    return checked, plain(check_view(checked, 80), 80)


def test_a_lost_hub_without_a_profile_is_told_beside_the_verdict(real_tree: _Tree) -> None:
    """By function alone nothing is missed: the kernel assumes the PS/2 keyboard and finds the emulator's mouse."""
    checked, page = _page(real_tree("internal-hub-missing"), "generic-clamshell")
    assert outcome(checked.findings) is Outcome.NOT_ALL_SEEN
    assert "    Firmware names more that was not found: part wired to USB port 4\n" in page
    assert "! not found   part wired to USB port 4\n" in page


@pytest.mark.parametrize("snapshot", ["healthy", "internal-hub-missing", "battery-not-present", "keyboard-missing"])
def test_with_the_units_own_profile_the_findings_say_it_all(real_tree: _Tree, snapshot: str) -> None:
    assert "WHAT FIRMWARE SAYS" not in _page(real_tree(snapshot), "fernhill-larch-13")[1]


def test_the_document_has_all_of_it(real_tree: _Tree) -> None:
    checked, _ = _page(real_tree("battery-not-present"), "fernhill-larch-13")
    told = check_document(checked)["declared"]
    assert isinstance(told, list)
    assert len(told) == len(checked.findings.declared) == 16
    battery = next(one for one in told if isinstance(one, dict) and one["what"] == "battery")
    assert isinstance(battery, dict)
    assert (battery["state"], battery["where"]) == ("not found", "acpi/_SB_.BAT0")


def test_a_captures_summary_names_what_was_not_found(real_tree: _Tree) -> None:
    shown = plain(capture_view(look(real_tree("keyboard-missing")), "unit.json"), 80)
    assert (
        "\n\n"
        "firmware names 16 internal parts; the kernel found 12 and takes 3 on its word\n"
        "  not found: part wired to USB port 4.1\n"
    ) in shown


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_can_break_the_section(text: str) -> None:
    hostile = tuple(poisoned(one, text, frozenset({"state"})) for one in (PORT, PAD, FAN))
    checked = replace(WHOLE, findings=findings(declared=hostile), profile=replace(PROFILE, generic=True))
    shown = plain([*declared_lines(checked), *declared_in_short(hostile)], 80) + declared_stamp(checked)
    assert all(row.isprintable() for row in shown.split("\n"))
