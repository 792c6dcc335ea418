"""What ``usbwatch localise`` takes, and what it refuses, each with one clear sentence."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from support.bench import lay_out, small_capture, small_tree

from usbwatch.capture import load, to_json
from usbwatch.cli import main
from usbwatch.localise.beliefs import MOST_LOOKS


@dataclass
class Done:
    """What one run of the command gave."""

    returncode: int
    stdout: str
    stderr: str


Usbwatch = Callable[..., Done]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("USBWATCH_PROFILES", str(tmp_path / "profiles"))
    monkeypatch.setenv("COLUMNS", "80")
    small_tree(tmp_path / "tree")
    return lay_out(tmp_path)


@pytest.fixture
def localise(bench: Path, capsys: pytest.CaptureFixture[str]) -> Usbwatch:
    assert bench.is_dir()

    def called(*arguments: str) -> Done:
        code = main(["localise", *arguments])
        shown = capsys.readouterr()
        return Done(code, shown.out, shown.err)

    return called


def document(done: Done) -> Any:  # noqa: ANN401
    assert done.stderr == ""
    return json.loads(done.stdout)


def chance(shown: Any, part: str) -> float:  # noqa: ANN401
    return float(next(one["probability"] for one in shown["suspects"]["parts"] if one["part"] == part))


CODES = {
    "whole": (["whole.json"], 0),
    "missing": (["lost.json"], 10),
    "missing, as JSON": (["lost.json", "--json"], 10),
    "unseen": (["unseen.json"], 11),
    "the last one counts: mended": (["lost.json", "whole.json", "--did", "reseat:flex"], 0),
    "the last one counts: not mended": (["whole.json", "lost.json"], 10),
    "failed hand check": (["whole.json", "--answer", "caps-light=no"], 10),
    "a tree": (["--root", "tree"], 11),
    "captures and a tree": (["lost.json", "--root", "tree"], 2),
    "no such file": (["nothing.json"], 3),
    "broken file": (["lost.json", "broken.json"], 3),
    "another model": (["lost.json", "stranger.json"], 3),
}


@pytest.mark.parametrize(("arguments", "code"), CODES.values(), ids=CODES.keys())
def test_exit_code(localise: Usbwatch, arguments: list[str], code: int) -> None:
    done = localise(*arguments)
    assert done.returncode == code, done.stderr
    assert (done.stdout == "") == (code in (2, 3))


def test_a_step_between_two_captures_moves_the_suspicion(localise: Usbwatch) -> None:
    def still_lost(*did: str) -> Any:  # noqa: ANN401
        return document(localise("lost.json", "lost.json", "--json", *did))

    before, after = still_lost(), still_lost("--did", "reseat:flex")
    assert chance(after, "flex") < chance(before, "flex")
    assert chance(after, "top-case") > chance(before, "top-case")
    assert [one["steps"] for one in after["captures"]] == [[], [{"kind": "reseat", "of": "flex"}]]


def test_a_step_belongs_before_the_last_capture_unless_a_number_says_otherwise(localise: Usbwatch) -> None:
    said = ["--did", "2:reseat:flex", "--did", "swap:top-case", "--did", "3:drain"]
    shown = document(localise("lost.json", "lost.json", "lost.json", "--json", *said))
    reseated = {"kind": "reseat", "of": "flex"}
    swapped, drained = {"kind": "swap", "of": "top-case"}, {"kind": "drain", "of": ""}
    assert [one["steps"] for one in shown["captures"]] == [[], [reseated], [swapped, drained]]


def test_an_answer_goes_with_the_last_capture_unless_a_number_says_otherwise(localise: Usbwatch) -> None:
    shown = document(localise("lost.json", "whole.json", "--json", "--answer", "1:caps-light=no"))
    no = {"check": "caps-light", "yes": False, "again": False}
    assert [one["answers"] for one in shown["captures"]] == [[no], [no]]  # which stands until something is done
    shown = document(localise("lost.json", "whole.json", "--json", "--answer", "1:caps-light=no", "--did", "drain"))
    assert [one["answers"] for one in shown["captures"]] == [[no], []]
    twice = ("--answer", "1:caps-light=no", "--answer", "caps-light=no")
    shown = document(localise("lost.json", "whole.json", "--json", *twice))
    assert [one["answers"] for one in shown["captures"]] == [[{**no, "again": True}]] * 2
    shown = document(localise("lost.json", "whole.json", "--json", "--answer", "caps-light=YES"))
    assert [one["answers"] for one in shown["captures"]] == [[], [{"check": "caps-light", "yes": True, "again": False}]]


def test_of_several_answers_to_one_check_the_last_counts_and_that_it_came_out_so_twice(localise: Usbwatch) -> None:
    def kept(*said: str) -> list[tuple[bool, bool]]:
        given = [word for one in said for word in ("--answer", f"caps-light={one}")]
        return [
            (one["yes"], one["again"])
            for one in document(localise("lost.json", "--json", *given))["captures"][0]["answers"]
        ]

    assert kept("no", "no") == kept("yes", "no", "no") == [(False, True)]
    assert kept("no", "yes") == [(True, False)]


def test_a_supposition_shows_how_the_ranking_would_move(localise: Usbwatch) -> None:
    shown = document(localise("lost.json", "--suppose", "flex is good", "--json"))
    assert shown["supposed"]["suppositions"] == ["flex is good"]
    assert chance(shown["supposed"], "flex") < 0.05 < chance(shown, "flex")
    text = localise("lost.json", "--suppose", "keyboard working").stdout
    assert "supposed: “keyboard working”" in text


def test_a_part_at_hand_is_proposed_as_a_trial(localise: Usbwatch) -> None:
    assert "swap:top-case" not in localise("lost.json", "--json").stdout
    shown = document(localise("lost.json", "--at-hand", "top-case", "--json"))
    assert shown["at_hand"] == ["top-case"]
    assert "swap:top-case" in [one["id"] for one in shown["plan"]["proposals"]]


REFUSED = {
    "no capture before the first": (["--did", "0:reseat:flex"], "captures are counted 1, 2, 3"),
    "half a capture": (["--did", "1.5:reseat:flex"], "captures are counted 1, 2, 3"),
    "unknown kind": (
        ["--did", "turn:flex"],
        "'turn:flex' does not begin with one of: reseat, swap, fit, back",
    ),
    "no part": (["--did", "swap"], "'swap' is not of the form swap:PART."),
    "a part of drain": (["--did", "drain:flex"], "drain is done to the whole unit and takes no part."),
    "unknown part": (["--did", "fit:top-cas"], "has no part to put in 'top-cas'. Did you mean top-case?"),
    "no link": (["--did", "reseat:top-case"], "has no link 'top-case'. It has: flex."),
    "a device": (["--did", "swap:keyboard"], "has no part to put in 'keyboard'. It belongs to top-case."),
    "no device": (["--did", "reload:keybord"], "has no device 'keybord'. Did you mean keyboard?"),
    "no such capture": (["--did", "2:drain"], "no capture 2: there is only one."),
    "no such capture to answer": (["--answer", "3:caps-light=yes"], "no capture 3: there is only one."),
    "unknown check": (["--answer", "caps-lite=yes"], "no hand check 'caps-lite'. Did you mean caps-light?"),
    "not yes or no": (["--answer", "1:caps-light=maybe"], "is not of the form CHECK=yes or CHECK=no."),
    "unknown at hand": (["--at-hand", "flexx"], "has no part to put in 'flexx'. Did you mean flex?"),
    "unknown supposed": (["--suppose", "flx is good"], 'no part or device "flx". Did you mean flex?'),
    "no supposition": (["--suppose", "flex"], "is not a supposition; say"),
}


@pytest.mark.parametrize(("said", "sentence"), REFUSED.values(), ids=REFUSED.keys())
def test_what_makes_no_sense_is_refused_with_one_sentence(localise: Usbwatch, said: list[str], sentence: str) -> None:
    done = localise("lost.json", *said)
    assert (done.returncode, done.stdout) == (2, "")
    assert sentence in done.stderr
    assert f"Invalid value for '{said[0]}'" in done.stderr


def test_only_one_capture_can_come_on_standard_input(localise: Usbwatch) -> None:
    assert "only one CAPTURE can be standard input." in localise("-", "-").stderr


def test_two_units_are_not_taken_for_one(bench: Path, localise: Usbwatch) -> None:
    other = replace(small_capture(), unit=replace(small_capture().unit, product_serial="LG-0003-DEMO"))
    (bench / "other.json").write_text(to_json(other), encoding="utf-8")
    done = localise("lost.json", "other.json")
    assert done.returncode == 3
    assert done.stderr == (
        "usbwatch: capture other.json: is of another unit than lost.json (serial 'LG-0002-DEMO' there, 'LG-0003-DEMO' "
        "here); give captures of one unit, or say with --did which board was put in between.\n"
    )


def test_a_board_that_was_put_in_brings_its_own_serial(bench: Path, localise: Usbwatch) -> None:
    other = replace(small_capture(), unit=replace(small_capture().unit, product_serial="LG-0003-DEMO"))
    (bench / "other.json").write_text(to_json(other), encoding="utf-8")
    assert localise("lost.json", "other.json", "--did", "fit:mainboard").returncode == 0


def test_what_a_capture_could_not_read_makes_no_other_unit(bench: Path, localise: Usbwatch) -> None:
    nameless = replace(small_capture(), unit=replace(small_capture().unit, product_serial=""))
    (bench / "nameless.json").write_text(to_json(nameless), encoding="utf-8")
    assert localise("lost.json", "nameless.json").returncode == 0


def test_captures_out_of_order_are_noticed(bench: Path, localise: Usbwatch) -> None:
    earlier = replace(small_capture(), taken_at="2026-11-24T13:00:00Z")
    (bench / "earlier.json").write_text(to_json(earlier), encoding="utf-8")
    done = localise("lost.json", "earlier.json")
    assert done.returncode == 0
    assert done.stderr == "usbwatch: earlier.json was taken before lost.json; they are read in the order given.\n"


@pytest.mark.parametrize("said", [("--did", "drain"), ("--answer", "2:caps-light=yes")], ids=["step", "number"])
def test_a_check_takes_no_steps_and_says_what_does(
    bench: Path, capsys: pytest.CaptureFixture[str], said: tuple[str, str]
) -> None:
    assert bench.is_dir()
    assert main(["check", "lost.json", *said]) == 2
    assert "usbwatch localise." in " ".join(capsys.readouterr().err.split())
    assert main(["check", "--help"]) == 0
    assert "--did" not in capsys.readouterr().out


def test_what_mends_it_all_is_known_for_that(localise: Usbwatch) -> None:
    shown = document(localise("lost.json", "--json"))
    (reseat,) = [one for one in shown["plan"]["proposals"] if one["id"] == "reseat:flex"]
    ends = {one["mended"]: one["words"] for one in reseat["outcomes"]}
    assert ends == {True: "all of it is well", False: "nothing changes"}
    questions = [one for one in shown["plan"]["proposals"] if one["action"] == "check"]
    assert not any(end["mended"] for one in questions for end in one["outcomes"])


def test_a_fault_that_a_step_has_mended_is_marked_in_its_sets(localise: Usbwatch) -> None:
    shown = document(localise("lost.json", "whole.json", "--did", "reseat:flex", "--json"))
    likeliest = shown["suspects"]["hypotheses"][0]
    assert [site["id"] for site in likeliest["sites"]] == likeliest["mended"] == ["open:flex"]


def test_an_argument_says_whether_it_was_found_wrong(localise: Usbwatch) -> None:
    (shown,) = [one for one in document(localise("lost.json", "--json"))["suspects"]["parts"] if one["part"] == "flex"]
    assert (shown["most_for"], shown["for_was_wrong"]) == ("keyboard", True)


def test_the_old_part_put_back_is_a_step_after_one_that_took_it_out(localise: Usbwatch) -> None:
    both = ["lost.json", "whole.json", "lost.json"]
    again = document(localise(*both, "--did", "2:swap:top-case", "--did", "back:top-case", "--json"))
    assert [one["kind"] for one in again["captures"][2]["steps"]] == ["back"]
    assert chance(again, "top-case") > chance(document(localise("lost.json", "--json")), "top-case")
    refused = localise(*both, "--did", "2:back:top-case", "--did", "swap:top-case")
    assert refused.returncode == 2
    assert "nothing was put in for 'top-case' before it was put back; say swap or fit first." in refused.stderr
    refused = localise(*both, "--did", "move:flex")
    assert "has no link with another connector (spare) to move to 'flex'. It has none at all." in refused.stderr


def test_what_was_measured_or_tried_in_another_unit_is_an_answer(localise: Usbwatch) -> None:
    before = document(localise("lost.json", "--json"))
    good = document(localise("lost.json", "--answer", "elsewhere:top-case=yes", "--json"))
    bad = document(localise("lost.json", "--answer", "elsewhere:top-case=no", "--json"))
    assert chance(good, "top-case") < chance(before, "top-case") < chance(bad, "top-case") < 1
    whole = document(localise("lost.json", "--answer", "measure:flex=yes", "--json"))
    assert 0 < chance(whole, "flex") < chance(before, "flex")
    shown = " ".join(localise("lost.json", "--answer", "measure:flex=no").stdout.split())
    assert "NO Measure Flex from end to end, unplugged: does every line conduct" in shown
    refused = localise("lost.json", "--answer", "measure:top-case=yes")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "has no hand check 'measure:top-case'. Did you mean" in refused.stderr


def test_with_another_unit_at_hand_a_part_is_tried_in_it(localise: Usbwatch) -> None:
    def proposed(*more: str) -> dict[str, str]:
        return {
            one["id"]: one["words"] for one in document(localise("lost.json", "--json", *more))["plan"]["proposals"]
        }

    asked = "Try the unit's own Top case in another unit of the model: does it do all its work there?"
    assert proposed("--at-hand", "unit").get("elsewhere:top-case") == asked
    assert "elsewhere:top-case" not in proposed()
    done = ("--at-hand", "unit", "--answer", "elsewhere:top-case=yes")
    assert "elsewhere:top-case" not in proposed(*done)


def test_of_more_captures_than_can_be_weighed_the_latest_are(localise: Usbwatch) -> None:
    flapping = [("lost.json", "whole.json")[number % 2] for number in range(MOST_LOOKS + 3)]
    shown = localise(*flapping)
    assert shown.stderr == ""
    said = " ".join(shown.stdout.split())
    assert f"captures 1 to 3 are not weighed: of so many that differ, only the latest {MOST_LOOKS} are" in said
    every, latest = document(localise(*flapping, "--json")), document(localise(*flapping[3:], "--json"))
    assert (every["not_weighed"], latest["not_weighed"]) == (3, 0)
    assert every["suspects"] == latest["suspects"]


@pytest.fixture
def later(bench: Path) -> Path:
    """The small unit with its keyboard again, ten minutes after it was lost."""
    found = replace(small_capture(), taken_at="2026-11-24T14:15:00Z")
    (bench / "later.json").write_text(to_json(found), encoding="utf-8")
    return bench


def test_a_step_told_with_one_capture_is_said_to_be_taken_as_done_before_it(localise: Usbwatch) -> None:
    shown = document(localise("lost.json", "--did", "reseat:flex", "--json"))
    (note,) = shown["notes"]
    assert note.startswith("the step is taken as done before the only capture. If the capture was made before that,")
    assert "Note: the step is taken as done before the only capture." in localise(
        "lost.json", "--did", "reseat:flex"
    ).stdout.replace("\n      ", " ")
    assert document(localise("lost.json", "--did", "flex:flex", "--json"))["notes"] == []
    assert document(localise("lost.json", "--json"))["notes"] == []


def test_one_capture_given_for_two_shows_nothing_of_the_step_between(bench: Path, localise: Usbwatch) -> None:
    (bench / "copy.json").write_bytes((bench / "lost.json").read_bytes())
    for second in ("lost.json", "copy.json"):
        (note,) = document(localise("lost.json", second, "--did", "reseat:flex", "--json"))["notes"]
        assert note.startswith("capture 2 is the same capture as 1: nothing was looked at after the step")
    again = replace(small_capture(keyboard=False), taken_at="2026-11-24T14:15:00Z")
    (bench / "again.json").write_text(to_json(again), encoding="utf-8")
    assert document(localise("lost.json", "again.json", "--did", "reseat:flex", "--json"))["notes"] == []


def test_what_comes_back_without_a_step_is_asked_about(later: Path, localise: Usbwatch) -> None:
    assert later.is_dir()
    (note,) = document(localise("lost.json", "later.json", "--json"))["notes"]
    assert note.startswith("Keyboard is back in capture 2 without a step")
    assert note.endswith("If something was done between the captures, say it with --did.")
    assert document(localise("lost.json", "later.json", "--did", "reseat:flex", "--json"))["notes"] == []


def test_a_finished_repair_tells_what_came_back_after_which_step(later: Path, localise: Usbwatch) -> None:
    assert later.is_dir()
    text = " ".join(localise("lost.json", "later.json", "--did", "swap:top-case").stdout.split())
    assert "Top case swapped for one known to be good came back Keyboard" in text
    assert "The Top case that is in is the one on trial: buy one, or put the first one back (--did back:" in text
    bought = " ".join(localise("lost.json", "later.json", "--did", "fit:top-case").stdout.split())
    assert "Top case fitted new came back Keyboard" in bought
    assert "on trial" not in bought
    both = localise("lost.json", "later.json", "--did", "swap:top-case", "--did", "reseat:flex").stdout
    assert "which of the steps it was, no capture tells" in " ".join(both.split())
    lost = localise("later.json", "lost.json", "--did", "swap:top-case").stdout
    assert "WHAT CAME BACK" not in lost.upper()


def test_a_part_may_be_called_by_its_name(localise: Usbwatch) -> None:
    for said in ("reseat:Flex", "swap:Top case", "swap:top CASE"):
        (step,) = document(localise("lost.json", "--did", said, "--json"))["captures"][0]["steps"]
        assert step["of"] in {"flex", "top-case"}
    assert document(localise("lost.json", "--at-hand", "Top case", "--json"))["at_hand"] == ["top-case"]
    by_id = document(localise("lost.json", "--suppose", "top-case is good", "--json"))["supposed"]["suspects"]
    by_name = document(localise("lost.json", "--suppose", "Top case is good", "--json"))["supposed"]["suspects"]
    assert by_name == by_id
    working = localise("lost.json", "--suppose", "Keyboard working")
    assert working.returncode == 10, working.stderr


def test_a_name_that_nothing_has_is_refused(localise: Usbwatch) -> None:
    done = localise("lost.json", "--suppose", "Bottom case is good")
    assert done.returncode == 2
    assert "is not a supposition" in done.stderr
    assert "Did you mean top-case?" in localise("lost.json", "--did", "swap:Top cass").stderr


WATCHED = load(str(Path(__file__).parents[2] / "captures" / "larch-13-watched.json"))
NOT_PROVEN = "Keyboard, Touchpad, Fingerprint reader and Battery came and went before: not proven until watched again"


def flat(text: str) -> str:
    return " ".join(text.split())


def day_later(name: str, *, watched_ms: int = 0) -> None:
    """The same unit a day later with all its devices there; watched for so long, in which none of them left."""
    (first,) = WATCHED.watches
    watches = (replace(first, lasted_ms=watched_ms, events=(), marks=()),) if watched_ms else ()
    capture = replace(WATCHED, taken_at="2026-03-12T10:02:00Z", watches=watches)
    Path(name).write_text(to_json(capture), encoding="utf-8")


@pytest.fixture
def opening(bench: Path) -> str:
    """A watch of a Larch 13 whose flex opens at times."""
    path = bench / "opening.json"
    path.write_text(to_json(WATCHED), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("did", [(), ("--did", "reseat:top-case-flex"), ("--did", "fit:top-case-flex")], ids=str)
def test_what_came_and_went_is_not_proven_by_a_plain_capture(
    localise: Usbwatch, opening: str, did: tuple[str, ...]
) -> None:
    """Common practice, no source: a bad contact makes contact most of the time."""
    day_later("plain.json")
    done = localise(opening, "plain.json", *did)
    assert done.returncode == 11
    assert f"Whole now; {NOT_PROVEN} Do next: Move, warm and cool Top-case flex while watching" in flat(done.stdout)
    first = document(localise(opening, "plain.json", *did, "--json"))["plan"]["proposals"][0]
    assert first["id"] == "flex:top-case-flex"


def test_a_watch_in_which_all_stayed_proves_it(localise: Usbwatch, opening: str) -> None:
    day_later("stayed.json", watched_ms=240_000)
    done = localise(opening, "stayed.json", "--did", "fit:top-case-flex")
    assert done.returncode == 0
    assert "Whole: all 19 expected devices are present" in done.stdout


def test_where_a_watch_has_shown_the_link_no_look_is_proposed_that_shows_it_once_more(
    localise: Usbwatch, opening: str
) -> None:
    shown = document(localise(opening, "--json"))
    assert shown["plan"]["advice"] == "go on"
    assert not [one["id"] for one in shown["plan"]["proposals"] if one["action"] in ("repeat", "flex")]


def test_one_device_alone_that_comes_and_goes_has_a_plug_of_its_own(localise: Usbwatch, bench: Path) -> None:
    """Common practice, no source: its plug inside the subassembly is seated again before a new one is bought."""
    (first,) = WATCHED.watches
    own = tuple(one for one in first.events if one.location.endswith("/4.1"))
    capture = replace(WATCHED, watches=(replace(first, events=own),))
    (bench / "alone.json").write_text(to_json(capture), encoding="utf-8")
    done = localise("alone.json")
    assert "Keyboard itself, its own plug and cable included" in flat(done.stdout)
    assert "before buying reseat the plug of Keyboard itself inside Top case, and watch again" in flat(done.stdout)
    assert "Disconnect the mains adapter, then the battery" in flat(done.stdout)
