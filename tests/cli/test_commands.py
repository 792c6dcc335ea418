"""What the commands print, beyond their exit codes."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import click
import pytest
from support.bench import PROFILE_TOML, lay_out, run, small_capture
from support.hostile import HOSTILE

from usbwatch.capture import to_json
from usbwatch.cli import main
from usbwatch.cli.answers import numbered


@dataclass
class Done:
    """What one run of the command gave, within this process."""

    returncode: int
    stdout: str
    stderr: str


Usbwatch = Callable[..., Done]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("USBWATCH_PROFILES", str(tmp_path / "profiles"))
    monkeypatch.setenv("COLUMNS", "80")
    return lay_out(tmp_path)


@pytest.fixture
def usbwatch(bench: Path, capsys: pytest.CaptureFixture[str]) -> Usbwatch:
    assert bench.is_dir()

    def called(*arguments: str) -> Done:
        code = main(arguments)
        shown = capsys.readouterr()
        return Done(code, shown.out, shown.err)

    return called


def test_a_check_is_arranged_by_subassembly_and_names_the_suspects(usbwatch: Usbwatch) -> None:
    text = usbwatch("check", "lost.json").stdout
    assert text.startswith("Ostrey Plover S, serial LG-0002-DEMO\n")
    assert "\n ✗  1 of 2 expected devices is missing\n" in text
    assert text.index("TOP CASE") < text.index("✗ MISSING     Keyboard") < text.index("WHERE THE FAULT LIES")
    assert "Flex" in text[text.index("WHERE THE FAULT LIES") :]
    assert "--answer caps-light=yes|no" in text


def test_an_answer_moves_the_suspicion(usbwatch: Usbwatch) -> None:
    def chance(*answer: str) -> float:
        document = json.loads(usbwatch("check", "lost.json", "--json", *answer).stdout)
        return float(next(one["probability"] for one in document["suspects"]["parts"] if one["part"] == "flex"))

    assert chance("--answer", "caps-light=yes") < chance() < chance("--answer", "caps-light=NO")


def test_a_near_name_is_offered_for_an_unknown_hand_check(usbwatch: Usbwatch) -> None:
    done = usbwatch("check", "whole.json", "--answer", "caps-lite=yes")
    assert "no hand check 'caps-lite'. Did you mean caps-light?" in done.stderr
    assert (
        "It has: caps-light, elsewhere:mainboard, elsewhere:top-case, measure:flex."
        in usbwatch("check", "whole.json", "--answer", "zzz=yes").stderr
    )


def test_one_capture_gives_one_check_document(usbwatch: Usbwatch) -> None:
    document = json.loads(usbwatch("check", "lost.json", "--json").stdout)
    assert (document["format"], document["schema"], document["outcome"]) == ("usbwatch-check", 1, "wrong")


def test_several_captures_give_one_document_with_all_of_them(usbwatch: Usbwatch) -> None:
    done = usbwatch("check", "lost.json", "broken.json", "whole.json", "--json")
    document = json.loads(done.stdout)
    assert (document["format"], document["schema"]) == ("usbwatch-check-list", 1)
    assert [one["path"] for one in document["checks"]] == ["lost.json", "broken.json", "whole.json"]
    assert [one.get("outcome") for one in document["checks"]] == ["wrong", None, "whole"]
    assert "is no JSON document" in document["checks"][1]["problem"]


def test_several_captures_are_told_apart_on_the_page(usbwatch: Usbwatch) -> None:
    text = usbwatch("check", "lost.json", "whole.json").stdout
    assert text.index("capture 1 of 2: lost.json") < text.index("capture 2 of 2: whole.json")


def test_when_no_profile_fits_one_sentence_says_what_to_do(usbwatch: Usbwatch) -> None:
    done = usbwatch("check", "stranger.json")
    assert done.stderr.count("\n") == 1
    assert "no profile fits Ostrey Nothing known; name one with --profile (" in done.stderr
    assert "plover-small" in done.stderr
    assert "compared by function alone, with generic-clamshell" in done.stderr
    named = usbwatch("check", "stranger.json", "--profile", "generic-clamshell")
    assert (named.returncode, named.stdout) == (done.returncode, done.stdout)


def test_a_profile_can_be_a_file(usbwatch: Usbwatch) -> None:
    done = usbwatch("check", "stranger.json", "--profile", "profiles/plover-small.toml")
    assert done.returncode == 0
    assert "Note: " in done.stdout


def test_a_broken_profile_of_the_users_is_named_and_left_out(bench: Path, usbwatch: Usbwatch) -> None:
    (bench / "profiles" / "bad.toml").write_text("nothing", encoding="utf-8")
    for command in (["check", "whole.json"], ["profile", "list"]):
        done = usbwatch(*command)
        assert done.returncode == 0
        assert "profile left out: profile " in done.stderr
        assert "bad.toml" in done.stderr


def test_a_diff_says_what_is_gone_and_where_it_sat(usbwatch: Usbwatch) -> None:
    text = usbwatch("diff", "whole.json", "lost.json").stdout
    assert text.index("TOP CASE") < text.index("✗ GONE            Plover keyboard (1209:0001)")
    assert "Nothing changed" in usbwatch("diff", "whole.json", "whole.json").stdout


def test_a_diff_as_json(usbwatch: Usbwatch) -> None:
    document = json.loads(usbwatch("diff", "whole.json", "lost.json", "--json").stdout)
    assert (document["format"], document["schema"], document["changed"]) == ("usbwatch-diff", 1, True)
    gone = [one for one in document["nodes"] if one["kind"] == "gone"]
    assert [one["before"]["identity"] for one in gone if not one["follows"]] == ["1209:0001"]


def test_profiles_are_listed_and_shown(usbwatch: Usbwatch) -> None:
    assert "plover-small  Plover small" in usbwatch("profile", "list").stdout
    document = json.loads(usbwatch("profile", "list", "--json").stdout)
    assert "plover-small" in [one["id"] for one in document["profiles"]]
    assert "Keyboard" in usbwatch("profile", "show", "plover-small").stdout
    shown = json.loads(usbwatch("profile", "show", "plover-small", "--json").stdout)
    assert (shown["format"], shown["id"]) == ("usbwatch-profile", "plover-small")


def test_a_profile_is_shown_by_what_it_can_tell_and_in_full_when_asked(usbwatch: Usbwatch) -> None:
    shown = usbwatch("profile", "show", "plover-small").stdout
    assert "TOLD APART BY A CAPTURE" in shown or "CANNOT BE TOLD APART" in shown
    assert "depends on" not in shown
    full = usbwatch("profile", "show", "plover-small", "--full").stdout
    assert "depends on" in full
    document = json.loads(usbwatch("profile", "show", "plover-small", "--json").stdout)
    told = {each["of"] for group in document["localises"]["groups"] for each in group["failing"]}
    assert "keyboard" in told


def test_a_validation_says_what_looks_alike_in_a_capture(usbwatch: Usbwatch) -> None:
    done = usbwatch("profile", "validate", "profiles/plover-small.toml")
    assert done.returncode == 0
    assert "  alike " in done.stdout


def test_every_fault_of_every_file_is_said(bench: Path, usbwatch: Usbwatch, monkeypatch: pytest.MonkeyPatch) -> None:
    (bench / "bad.toml").write_text(
        PROFILE_TOML.replace('"bluetooth"', '"bluetoth"').replace("cost = 60", "cost = -60"), encoding="utf-8"
    )
    monkeypatch.setenv("COLUMNS", "120")
    done = usbwatch("profile", "validate", "bad.toml", "profiles/plover-small.toml")
    assert "profile bad.toml: 2 faults:" in done.stderr
    assert "subassembly.top-case.cost" in done.stderr
    assert "device.bluetooth.function" in done.stderr
    assert (
        "✓ sound  profiles/plover-small.toml: plover-small, 2 devices in 2 subassemblies, 1 hand check" in done.stdout
    )


@pytest.mark.parametrize(
    "text", [one for one in HOSTILE.values() if one], ids=[name for name in HOSTILE if name != "nothing"]
)
def test_no_string_of_a_unit_reaches_the_terminal_raw(bench: Path, usbwatch: Usbwatch, text: str) -> None:
    made = small_capture(keyboard=False)
    nodes = tuple(replace(one, name=text, driver=text, facts={**one.facts, "product": text}) for one in made.nodes)
    hostile = replace(made, unit=replace(made.unit, product_serial=text), nodes=nodes)
    (bench / "hostile.json").write_text(to_json(hostile), encoding="utf-8")
    stranger = replace(hostile, unit=replace(made.unit, product_name=text))
    (bench / "stranger.json").write_text(to_json(stranger), encoding="utf-8")
    for command in (
        ["check", "hostile.json"],
        ["check", "hostile.json", "--json"],
        ["diff", "whole.json", "hostile.json"],
        ["diff", "whole.json", "stranger.json", "--json"],
        ["check", "stranger.json"],
        ["check", "whole.json", "--profile", text.replace("\0", "")[:100].encode("utf-8", "replace").decode()],
    ):
        done = usbwatch(*command)
        for stream in (done.stdout, done.stderr):
            assert all(row.isprintable() for row in stream.removesuffix("\n").split("\n")), command
            assert "this is a bug" not in stream


def test_the_demo_runs_the_whole_job_on_invented_data(tmp_path: Path) -> None:
    (tmp_path / "profiles").mkdir()
    done = run(tmp_path, "demo")
    assert (done.returncode, done.stderr) == (0, "")
    text = done.stdout
    assert "invented" in text
    headings = ("WHERE THE FAULT LIES", "WHAT TO DO NEXT", "$ usbwatch diff")
    places = [text.index(one) for one in headings]
    assert places == sorted(places)
    assert "GONE" in text[places[2] :]


def test_a_capture_number_of_any_length_is_refused() -> None:
    with pytest.raises(click.BadParameter, match="captures are counted 1, 2, 3"):
        numbered("9" * 5000 + ":swap:top-case")
