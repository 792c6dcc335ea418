"""What a hand check asks, and how its result is laid out."""

from __future__ import annotations

import json

import pytest
from support.hostile import HOSTILE

from usbwatch.model import Deed, Observation, Response
from usbwatch.profile import find
from usbwatch.show import json_text, plain
from usbwatch.show.cautions import CHARGER_OUT
from usbwatch.show.handcheck_view import HandResult, ask_view, handcheck_document, handcheck_view, stray_sentence

HERON = find("brackwell-heron-14")
DEVICES = {device.id: device for device in HERON.devices}
KEYBOARD = "platform/i8042/kbd/input"


def result(device: str, deed: Deed, response: Response | None = None, name: str = "", why_not: str = "") -> HandResult:
    seen = None
    if response is not None:
        where = KEYBOARD if response is Response.ANSWERED else ""
        seen = Observation(
            function=DEVICES[device].function,
            deed=deed,
            response=response,
            watched=("acpi/_SB_.LID0/input",),
            location=where,
            name=name,
            after_ms=1234,
            events=5,
            letters=4,
            modifiers=1,
        )
    return HandResult(device=DEVICES[device], deed=deed, observation=seen, why_not=why_not)


ANSWERED = result("keyboard", Deed.PRESS, Response.ANSWERED, "AT keyboard")
SILENT = result("lid", Deed.CLOSE, Response.SILENT)
LEFT_OUT = result("mains-adapter", Deed.PULL, why_not="no battery is there")


def test_the_result_stands_in_the_subassemblies() -> None:
    text = plain(handcheck_view((ANSWERED, SILENT, LEFT_OUT), HERON, "heron.json", 80), 80)
    assert " ✗  1 of 3 hand checks answered; 1 silent; 1 not established\n" in text
    rows = [row for row in text.splitlines() if row and row[0] not in "━┄ "]
    assert [row.split("  ")[0] for row in rows] == [
        "MAINBOARD",
        "✗ SILENT",
        "· not asked",
        "KEYBOARD MODULE",
        "✓ answered",
        "kept in heron.json",
    ]
    assert "AT keyboard at platform/i8042/kbd/input\n" in text
    assert "after 1.2 s, 5 events (4 letters, 1 modifier)\n" in text
    assert "it was done, and nothing came of acpi/_SB_.LID0/input\n" in text
    assert "no battery is there\n" in text


STAMPS = {
    "all answered": ((ANSWERED,), "✓  1 of 1 hand check answered\n"),
    "one not asked": ((ANSWERED, LEFT_OUT), "?  1 of 2 hand checks answered; 1 not established\n"),
    "one silent": ((ANSWERED, SILENT), "✗  1 of 2 hand checks answered; 1 silent\n"),
    "nothing to ask": ((), "?  Nothing that a hand can move is there\n"),
}


@pytest.mark.parametrize(("results", "stamp"), STAMPS.values(), ids=STAMPS)
def test_the_stamp(results: tuple[HandResult, ...], stamp: str) -> None:
    assert stamp in plain(handcheck_view(results, HERON, "", 80), 80)


@pytest.mark.parametrize("deed", Deed)
def test_each_deed_is_asked_for_in_capitals(deed: Deed) -> None:
    rows = plain(ask_view("keyboard", deed, 30, 80, speaks=True), 80).splitlines()
    plea = next(row for row in rows if "→" in row)
    assert plea.isupper()
    assert any("Type n, then" in row for row in rows)
    assert rows[-2].endswith("after 30 s.")


def test_without_a_terminal_nobody_is_asked_to_type() -> None:
    assert "Enter" not in plain(ask_view("lid", Deed.CLOSE, 30, 80, speaks=False), 80)


def test_the_caution_stands_before_the_charger_is_pulled() -> None:
    text = plain(ask_view("mains-adapter", Deed.PULL, 30, 120, speaks=True), 120)
    assert text.index(CHARGER_OUT) < text.index("PULL THE CHARGER")


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_name_can_break_the_page(text: str) -> None:
    named = result("keyboard", Deed.PRESS, Response.ANSWERED, text)
    shown = plain(handcheck_view((named,), HERON, text, 80), 80)
    assert all(row.isprintable() for row in shown.removesuffix("\n").split("\n"))
    assert stray_sentence(Deed.PRESS, (text,)).isprintable()
    assert json_text(handcheck_document((named,), HERON, text)).isascii()


def test_the_document_has_every_check() -> None:
    told = json.loads(json_text(handcheck_document((ANSWERED, SILENT, LEFT_OUT), HERON, "heron.json")))
    assert (told["format"], told["schema"], told["profile"], told["capture"]) == (
        "usbwatch-handcheck",
        1,
        "brackwell-heron-14",
        "heron.json",
    )
    assert [(one["device"], one["deed"], one["not_asked"]) for one in told["checks"]] == [
        ("keyboard", "press", ""),
        ("lid", "close", ""),
        ("mains-adapter", "pull", "no battery is there"),
    ]
    assert told["checks"][0]["observation"]["response"] == "answered"
    assert told["checks"][2]["observation"] is None
