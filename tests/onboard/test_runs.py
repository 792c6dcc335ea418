"""Whole runs on invented units' trees: what a person sees on the screen, on a serial line, and on the stick."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from onboard.runs import Machine, switched_on
from support.needs import needed_tool
from support.sysfs import Conditions
from support.units import HERON, LARCH

from usbwatch.capture import load
from usbwatch.cli.taking import taken
from usbwatch.model import Step, StepKind
from usbwatch.stick.notes import Notes, parsed
from usbwatch.stick.settings import Settings, to_json

BuiltTree = Callable[..., Path]
LOST = Conditions(missing=("keyboard", "touchpad", "fingerprint-reader"))


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder


def files(stick: Path, ending: str) -> list[Path]:
    return sorted(path for path in (stick / "captures").iterdir() if path.name.endswith(ending))


def age(path: Path) -> int:
    return path.stat().st_mtime_ns


def captures(stick: Path) -> list[Path]:
    return [path for path in files(stick, ".json") if ".unit" not in path.name]


def notes(path: Path) -> Notes:
    return parsed(path.read_bytes(), path.name)


def settings_file(folder: Path, **told: object) -> str:
    values = {
        "built": "2026-03-02T09:14:00Z",
        "usbwatch": "0.1.0",
        "kernel": "6.1.0",
        "data_partition": "6d3f9a52-1c0e-4b7e-9b5d-75736277a002",
        "profiles": "/opt/stick/profiles",
    }
    path = folder / "settings.json"
    path.write_text(to_json(Settings(**{**values, **told})))  # type: ignore[arg-type]
    return str(path)


def key_for(words: str, machine: Machine) -> str:
    """The key of a row of the list that was told last."""
    return [line.split()[0] for line in machine.said.splitlines() if words in line][-1]


def test_by_itself_it_shows_saves_and_stays(built_tree: BuiltTree, stick: Path) -> None:
    tree = built_tree(LARCH, LOST)
    with switched_on(tree, stick) as machine:
        machine.until_shown("Saved on this stick")
        assert "Fernhill Larch 13, serial LG-0001-DEMO" in machine.page
        assert "3 of 19 expected devices are missing." in machine.page
        assert "X TOP CASE MISSING Keyboard, Touchpad, Fingerprint reader" in machine.page
        assert "DO NEXT" in machine.page
        machine.until_told("saved ")
        assert machine.switch_off() == 7
    (capture,) = captures(stick)
    assert re.fullmatch(r"larch-13-\d{4}-\d\d-\d\d-\d{6}\.json", capture.name)
    assert load(str(capture)) == taken(str(tree), None)
    (text,) = files(stick, ".txt")
    assert "3 of 19 expected devices are missing." in text.read_text("ascii")
    (report,) = files(stick, ".html")
    assert "LG-0001-DEMO" not in report.read_text("utf-8")  # private identifiers are removed
    (noted,) = files(stick, ".unit.json")
    assert notes(noted) == Notes(capture=json.loads(capture.read_text())["digest"])
    assert not list(stick.rglob("*.part"))


def test_the_serial_line_has_each_state_once_in_plain_words(built_tree: BuiltTree, stick: Path) -> None:
    with switched_on(built_tree(LARCH, LOST), stick) as machine:
        machine.until(lambda: re.search(r"saved \d+\.\d\r\n", machine.said) is not None, "the times")
        assert machine.told.count("3 of 19 expected devices are missing.") == 1
        assert machine.told.count("Saved on this stick") == 1
        assert "\x1b" not in machine.said
        assert all(len(line) < 80 for line in machine.said.splitlines())
        times = re.search(r"kernel started: (.*)", machine.said.replace("\r\n  ", " "))
        assert times is not None
        told = dict(one.split(" ") for one in times[1].strip().split(", "))
        assert list(told) == ["started", "shown", "settled", "captured", "answered", "saved"]
        moments = [float(one) for one in told.values()]
        assert moments == sorted(moments)


def test_something_stands_on_the_screen_before_the_unit_is_read(stick: Path, tmp_path: Path) -> None:
    with switched_on(tmp_path / "nowhere", stick) as machine:
        machine.until_shown("usbwatch is looking at this unit")
        machine.until_shown("NO ANSWER")  # there is no such tree
        machine.until_shown("There is no answer: tree")
        assert machine.switch_off() == 7


def test_keys_by_the_line(built_tree: BuiltTree, stick: Path) -> None:
    with switched_on(built_tree(LARCH, LOST), stick, size=(80, 25)) as machine:
        machine.until_shown("Saved on this stick")
        machine.press("m")
        machine.until_shown("lines 1 to 24 of")
        machine.press("m")
        machine.until_shown("lines 25 to 48 of")
        machine.press("x")
        machine.until_shown("DO NEXT")
        machine.press("l")
        machine.until_shown("Label of this unit")
        machine.press("-LB\r")
        machine.until_shown("begins with a hyphen")
        machine.press("\x15\x7f\x7f\x7fLB 77\r")
        machine.until_shown("LB 77 Fernhill Larch 13")
        machine.press("a")
        machine.until_shown("Answer which question?")
        machine.press("1")
        machine.until_shown("y yes")
        machine.press("n")
        machine.until_shown("1 hand check failed")
        machine.press("p")
        machine.until_shown("Now: fernhill-larch-13")
        machine.press("z")
        machine.until_shown("DO NEXT")
        machine.press("w")
        machine.until_shown("that needs the unit itself")
        machine.press("q")
        machine.until_shown("DO NEXT")
        for key in "qzxQ!%\x1b[A\x03\x1a":
            machine.press(key)
        assert machine.switch_off() == 7
    latest = notes(max(files(stick, ".json"), key=age))
    assert latest.label == "LB 77"
    text = max(stick.glob("captures/*.later*.txt"), key=age).read_text()
    assert text.startswith("LB 77")
    assert "1 hand check failed" in text
    assert "usbwatch unit import" in text
    assert [one.yes for one in latest.answers] == [False]


def test_keys_may_be_pressed_ahead(built_tree: BuiltTree, stick: Path) -> None:
    with switched_on(built_tree(LARCH, LOST), stick) as machine:
        machine.until_shown("Saved on this stick")
        machine.press("lLB 9\rc0")
        machine.until_shown("2 captures weighed together")
        machine.until_shown("LB 9 Fernhill")
        machine.until_shown("Saved on this stick")
        machine.press("oy")
        assert machine.ended() == 7


def test_keys_of_the_console_do_not_count_without_a_helper_keyboard(built_tree: BuiltTree, stick: Path) -> None:
    """This machine has none, and the unit's own may press by itself."""
    with switched_on(built_tree(LARCH), stick) as machine:
        machine.until_shown("Saved on this stick")
        assert "Plug in a helper keyboard" in machine.page
        machine.press_on_console("oyoyoymmm")
        machine.press("m")
        machine.until_shown("lines 1 to")
        machine.press("x")
        machine.until_shown("Plug in a helper keyboard")
        assert machine.process.poll() is None


def test_a_key_that_hangs_does_not_switch_the_unit_off(built_tree: BuiltTree, stick: Path) -> None:
    with switched_on(built_tree(LARCH), stick) as machine:
        machine.until_shown("Saved on this stick")
        machine.press("o" * 200)
        machine.until_shown("Switch the unit off?")
        machine.press("m")
        machine.until_shown("Saved on this stick")
        machine.press("m")
        machine.until_shown("lines 1 to")
        assert machine.process.poll() is None


def test_a_step_done_with_the_unit_off_is_weighed_with_the_look_before_it(built_tree: BuiltTree, stick: Path) -> None:
    with switched_on(built_tree(LARCH, LOST), stick) as machine:
        machine.until_shown("Saved on this stick")
        machine.press("l")
        machine.until_shown("Label of this unit")
        machine.press("LB-0001\r")
        machine.until_shown("LB-0001 Fernhill")
        assert machine.switch_off() == 7
    first = captures(stick)[0].name
    with switched_on(built_tree(LARCH), stick, size=(120, 60)) as machine:
        machine.until_shown("This stick has an earlier capture of this unit")
        machine.until_shown("expected devices are missing")  # what it found, though all is there now
        machine.until_shown("LB-0001 Fernhill")
        machine.press("c")
        machine.until_told("none of these: nothing was done")
        key = key_for("Top-case flex opened and seated again", machine)
        machine.press(key)
        machine.until_shown("2 captures weighed together")
        machine.until_shown("Whole: all 19 expected devices are present.")
        assert machine.switch_off() == 7
    latest = notes(max(files(stick, ".json"), key=age))
    assert latest.after == (first,)
    assert latest.steps == (Step(kind=StepKind.RESEAT, of="top-case-flex"),)
    assert latest.label == "LB-0001"


def test_another_capture_after_a_step(built_tree: BuiltTree, stick: Path) -> None:
    with switched_on(built_tree(LARCH, LOST), stick, size=(120, 60)) as machine:
        machine.until_shown("Saved on this stick")
        machine.press("c")
        machine.until_shown("Which step was done?")
        machine.press("0")
        machine.until_shown("2 captures weighed together")
        machine.until(lambda: len(captures(stick)) == 2, "the second capture")
        machine.until_shown("Saved on this stick")
    first, second = (path.name for path in sorted(captures(stick), key=age))
    assert notes(stick / "captures" / second.replace(".json", ".unit.json")).after == (first,)


def test_a_unit_that_is_hostile(loose_tree: BuiltTree, stick: Path) -> None:
    tree = loose_tree(HERON)
    for name, text in (
        ("product_name", "Heron\x1b[2J\x1b]0;x\x07 14"),
        ("product_serial", "A" * 5000),
        ("sys_vendor", "\x9b2J"),
    ):
        (tree / "sys/class/dmi/id" / name).write_text(text)
    with switched_on(tree, stick) as machine:
        machine.until_shown("Saved on this stick")
        assert r"Heron\x1b[2J" in machine.page
        assert "This model is not known to this stick" in machine.page
        assert "\x1b" not in machine.said
        assert b"\x1b]0;" not in machine.raw
    (capture,) = captures(stick)
    assert re.fullmatch(r"heron-2j-0-x-14-[0-9-]+\.json", capture.name)


def test_a_clock_that_stands_before_the_stick_was_built(loose_tree: BuiltTree, stick: Path, tmp_path: Path) -> None:
    settings = settings_file(tmp_path, built="2199-01-01T00:00:00Z")
    tree = loose_tree(LARCH)
    with switched_on(tree, stick, "--settings", settings) as machine:
        machine.until_shown("Saved on this stick")
        machine.until_shown("The unit's clock looks wrong")
    (noted,) = files(stick, ".unit.json")
    assert notes(noted).clock_wrong


@pytest.mark.parametrize("size", [(50, 18), (85, 24), (80, 24)], ids=lambda size: f"{size[0]}x{size[1]}")
def test_small_screens(built_tree: BuiltTree, stick: Path, size: tuple[int, int]) -> None:
    with switched_on(built_tree(LARCH, LOST), stick, size=size) as machine:
        machine.until_shown("Saved on this stick")
        for said in ("3 of 19 expected devices are missing.", "Keyboard, Touchpad, Fingerprint reader", "DO NEXT"):
            assert said in machine.page


def test_a_stick_that_is_put_in_later_is_written_then(built_tree: BuiltTree, tmp_path: Path) -> None:
    stick = tmp_path / "later"
    with switched_on(built_tree(LARCH), stick) as machine:
        machine.until_shown("NOT SAVED")
        machine.until_shown("Whole: all 19 expected devices are present.")
        stick.mkdir()
        machine.until_shown("Saved on this stick")
    assert len(captures(stick)) == 1


ERRORS = {
    "ENOSPC": "the stick is full: make room on it",
    "EROFS": "the stick takes no writing: move its switch",
    "EIO": "the stick was pulled out, or is failing",
    "ENODEV": "the stick was pulled out",
}


@pytest.mark.parametrize("error", ERRORS)
def test_a_stick_that_takes_nothing_is_told_in_one_sentence(
    error: str, built_tree: BuiltTree, stick: Path, tmp_path: Path
) -> None:
    """strace(1) gives the kernel's own answers in its place, at the first file that is synced."""
    strace = needed_tool("strace", "strace")
    inject = [strace, "-f", "-qq", "-o", str(tmp_path / "trace"), "-e", f"inject=fsync:error={error}"]
    with switched_on(built_tree(LARCH), stick, before=inject, environment={"PYTHONDEVMODE": ""}) as machine:
        machine.until_shown("NOT SAVED")
        assert ERRORS[error] in machine.page
        assert "Whole: all 19 expected devices are present." in machine.page
        machine.press("o")
        machine.until_shown("The answer is not saved")
        machine.press("y")
        assert machine.ended() == 7
    assert not list((stick / "captures").iterdir())


def test_without_any_screen_it_is_saved_all_the_same(built_tree: BuiltTree, stick: Path, tmp_path: Path) -> None:
    with switched_on(built_tree(LARCH), stick, "--screen", str(tmp_path / "none")) as machine:
        machine.until_told("Saved on this stick")
    assert len(captures(stick)) == 1
