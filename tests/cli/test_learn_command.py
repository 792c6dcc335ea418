"""``usbwatch profile learn``, as a bench types it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from support.fleets import blind, lost, unit, units
from support.hostile import HOSTILE

from usbwatch.capture import load, to_json
from usbwatch.cli import main
from usbwatch.profile import load as load_profile
from usbwatch.profile import shipped

Typed = Callable[..., tuple[int, str, str]]
KEYBOARD = "pci0000:00/14.0/usb2/4.1"


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Typed:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("USBWATCH_PROFILES", str(tmp_path / "library"))
    monkeypatch.setenv("COLUMNS", "100")
    whole = load(str(shipped("captures") / "larch-13-healthy.json"))
    fleet = tmp_path / "fleet"
    fleet.mkdir()
    for number, one in enumerate([*units(whole, 9), unit(lost(whole, KEYBOARD), 20)]):
        (fleet / f"unit-{number}.json").write_text(to_json(one), encoding="utf-8")

    def called(*arguments: str) -> tuple[int, str, str]:
        code = main(arguments)
        shown = capsys.readouterr()
        return code, shown.out, shown.err

    return called


def test_learn_validate_add_check(typed: Typed, tmp_path: Path) -> None:
    code, out, err = typed("profile", "learn", "fleet", "--output", "larch.toml")
    assert (code, out) == (0, "")
    assert "10 captures of 10 units, 2026-03-02 to 2026-03-21" in err
    assert f"Keyboard at {KEYBOARD}: 9 of 10 units" in err
    assert "unit-9.json, not healthy" in err
    assert "usbwatch profile add larch.toml" in err
    assert typed("profile", "validate", "larch.toml")[0] == 0
    assert typed("profile", "add", "larch.toml")[0] == 0
    learnt = load_profile(str(tmp_path / "larch.toml"))
    assert (learnt.basis.how, learnt.basis.units, learnt.basis.captures) == ("learnt", 10, 10)
    assert (learnt.basis.since, learnt.basis.until) == ("2026-03-02", "2026-03-21")
    assert typed("check", "fleet/unit-0.json")[0] == 0
    assert typed("check", "fleet/unit-9.json")[0] == 10


def test_the_profile_goes_to_standard_output_and_names_no_folder(typed: Typed, tmp_path: Path) -> None:
    code, out, err = typed("profile", "learn", str(tmp_path / "fleet"))
    assert code == 0
    assert out.startswith("# Fernhill Larch 13")
    assert "unit-9.json, not healthy" in out
    assert str(tmp_path) not in out
    assert str(tmp_path) in err


def test_a_broken_file_is_said_and_does_not_stop_the_rest(typed: Typed, tmp_path: Path) -> None:
    (tmp_path / "fleet" / "broken.json").write_text('{"format": "usbwatch-capture"', encoding="utf-8")
    (tmp_path / "fleet" / "notes.txt").write_text("no capture", encoding="utf-8")
    code, out, err = typed("profile", "learn", "fleet", "nowhere.json", "--json")
    assert code == 0
    assert json.loads(out)["captures"] == 10
    (said,) = [line for line in err.splitlines() if "broken.json" in line]
    assert "is no JSON document and ends in the middle" in said
    assert "nowhere.json: cannot be opened" in err
    assert "notes.txt" not in err


def test_with_nothing_to_learn_from_the_exit_code_is_3(typed: Typed, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    code, out, err = typed("profile", "learn", "empty", "nowhere.json", "--output", "x.toml")
    assert (code, out) == (3, "")
    assert "folder empty: no file in it has a name that ends in .json" in err
    assert "none of these files is a capture" in err
    assert not (tmp_path / "x.toml").exists()


def test_captures_that_hold_nothing_are_named_with_the_reason(typed: Typed, tmp_path: Path) -> None:
    whole = load(str(shipped("captures") / "larch-13-healthy.json"))
    (tmp_path / "bare.json").write_text(to_json(replace(whole, nodes=())), encoding="utf-8")
    code, out, err = typed("profile", "learn", "bare.json", "--output", "x.toml")
    assert (code, out) == (3, "")
    assert "bare.json, nothing to learn from: it shows no device" in err
    assert not (tmp_path / "x.toml").exists()


def test_a_bus_that_no_capture_saw_is_said_and_stands_in_the_profile(typed: Typed, tmp_path: Path) -> None:
    whole = load(str(shipped("captures") / "larch-13-healthy.json"))
    (tmp_path / "dark").mkdir()
    for number, one in enumerate(units(blind(whole, "drm"), 4)):
        (tmp_path / "dark" / f"{number}.json").write_text(to_json(one), encoding="utf-8")
    code, _, err = typed("profile", "learn", "dark", "--output", "x.toml")
    assert code == 0
    for text in (err, (tmp_path / "x.toml").read_text(encoding="utf-8")):
        assert "drm was seen in no capture" in text.replace("\n#", "").replace("\n", " ")


def test_nothing_is_overwritten(typed: Typed, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text("mine", encoding="utf-8")
    code, out, err = typed("profile", "learn", "fleet", "--output", "mine.toml")
    assert (code, out) == (3, "")
    assert "is there already" in err
    assert (tmp_path / "mine.toml").read_text(encoding="utf-8") == "mine"


def test_the_json_document_says_what_stands_behind_each_device(typed: Typed) -> None:
    document = json.loads(typed("profile", "learn", "fleet", "--json")[1])
    assert (document["format"], document["schema"]) == ("usbwatch-learnt", 1)
    (keyboard,) = [one for one in document["devices"] if one["places"][0]["text"] == KEYBOARD]
    assert keyboard["standing"] == "mandatory"
    assert (keyboard["support"]["there"], keyboard["support"]["of"]) == (9, 10)
    assert 0.59 < keyboard["support"]["low"] < 0.9 < keyboard["support"]["high"] < 1
    assert document["outliers"][0]["kind"] == "not healthy"


def test_an_unknown_layout_is_refused(typed: Typed) -> None:
    code, _, err = typed("profile", "learn", "fleet", "--layout", "tower")
    assert code == 2
    assert "clamshell" in err


@pytest.mark.parametrize("text", HOSTILE)
def test_no_string_of_a_unit_reaches_the_terminal_as_it_is(typed: Typed, tmp_path: Path, text: str) -> None:
    from dataclasses import replace

    whole = load(str(shipped("captures") / "larch-13-healthy.json"))
    nodes = tuple(replace(one, name=text, identity=text if one.bus == "drm" else one.identity) for one in whole.nodes)
    (tmp_path / "hostile").mkdir()
    for number in range(3):
        one = replace(unit(whole, number, product_sku=text, board_version=text), nodes=nodes)
        (tmp_path / "hostile" / f"{number}.json").write_text(to_json(one), encoding="utf-8")
    code, out, err = typed("profile", "learn", "hostile")
    assert code == 0
    assert not {sign for sign in out + err if not sign.isprintable()} - {"\n"}
