"""``usbwatch profile draft`` and ``usbwatch profile add``, as a bench types them."""

from __future__ import annotations

import gzip
import tarfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from support.bench import lay_out, run, small_capture
from support.hostile import HOSTILE, poisoned

from usbwatch.capture import to_json
from usbwatch.cli import main
from usbwatch.drafting import LAYOUTS
from usbwatch.model import Capture, CoverageState, Episode
from usbwatch.profile import load, shipped
from usbwatch.safe import safe

Typed = Callable[..., tuple[int, str, str]]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("USBWATCH_PROFILES", str(tmp_path / "library"))
    monkeypatch.setenv("COLUMNS", "80")
    return lay_out(tmp_path)


@pytest.fixture
def typed(bench: Path, capsys: pytest.CaptureFixture[str]) -> Typed:
    assert bench.is_dir()

    def called(*arguments: str) -> tuple[int, str, str]:
        code = main(arguments)
        shown = capsys.readouterr()
        return code, shown.out, shown.err

    return called


LARCH = str(shipped("captures") / "larch-13-healthy.json")
TOP_CASE_LOST = str(shipped("captures") / "larch-13-top-case-lost.json")


def test_capture_draft_validate_add_check(bench: Path, typed: Typed) -> None:
    """The five minutes of docs/drafting.md."""
    code, out, err = typed("profile", "draft", LARCH, "--output", "larch.toml")
    assert (code, out) == (0, "")
    assert "usbwatch profile add larch.toml" in err
    assert "layout clamshell (chassis type 10)" in err
    assert typed("profile", "validate", "larch.toml")[0] == 0
    code, out, err = typed("profile", "add", "larch.toml")
    assert code == 0
    assert err == "usbwatch: fernhill-larch-13: takes the place of the shipped profile with this id, from now on.\n"
    assert out.startswith("fernhill-larch-13: is in your library now, as ")
    assert (bench / "library" / "fernhill-larch-13.toml").is_file()
    assert typed("check", LARCH)[0] == 0
    code, out, _ = typed("check", TOP_CASE_LOST)
    assert code == 10
    assert "profile fernhill-larch-13" in out
    listed = " ".join(typed("profile", "list")[1].split())
    assert "your library, in place of the shipped profile with this id" in listed
    assert "drafted from 1 capture of 1 unit" in listed


def test_a_draft_goes_to_standard_output_and_all_else_to_standard_error(typed: Typed, tmp_path: Path) -> None:
    _, out, err = typed("profile", "draft", "whole.json")
    path = tmp_path / "out.toml"
    path.write_text(out, encoding="utf-8")
    assert load(str(path)).id == "ostrey-plover-s"
    assert "did not see acpi" in err


def test_a_draft_reads_a_tree_or_standard_input(bench: Path) -> None:
    done = run(bench, "profile", "draft", "-", stdin=(bench / "whole.json").read_text(encoding="utf-8"))
    assert done.returncode == 0
    assert 'id = "ostrey-plover-s"' in done.stdout


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_can_be_asked_for_and_is_in_the_help(typed: Typed, layout: str) -> None:
    assert f'layout = "{layout}"' in typed("profile", "draft", LARCH, "--layout", layout)[1]
    helped = " ".join(typed("profile", "draft", "--help")[1].split())
    assert f"{layout}: {LAYOUTS[layout].name}" in helped
    assert all(sentence in helped for sentence in LAYOUTS[layout].assumes)


def test_a_layout_that_is_none_is_refused_with_the_known_ones(typed: Typed) -> None:
    code, _, err = typed("profile", "draft", LARCH, "--layout", "folding")
    assert code == 2
    assert all(layout in err for layout in LAYOUTS)


def test_nothing_is_overwritten(bench: Path, typed: Typed) -> None:
    (bench / "there.toml").write_text("mine", encoding="utf-8")
    code, _, err = typed("profile", "draft", LARCH, "-o", "there.toml")
    assert code == 3
    assert "--update there.toml" in err
    assert (bench / "there.toml").read_text(encoding="utf-8") == "mine"


def test_an_update_keeps_edits_and_names_what_it_did(bench: Path, typed: Typed) -> None:
    typed("profile", "draft", LARCH, "-o", "larch.toml")
    path = bench / "larch.toml"
    text = path.read_text(encoding="utf-8").replace('name = "Mainboard"', 'name = "The board"  # as we call it')
    start = text.index("[device.camera]")
    path.write_text(text[:start] + text[text.index("\n\n", start) + 2 :], encoding="utf-8")
    assert load(str(path)).edited
    code, out, err = typed("profile", "draft", LARCH, "--update", "larch.toml")
    assert (code, out) == (0, "")
    assert "added to larch.toml: camera." in err
    assert 'name = "The board"  # as we call it' in path.read_text(encoding="utf-8")
    assert not load(str(path)).edited
    before = path.read_bytes()
    assert "is unchanged" in typed("profile", "draft", LARCH, "--update", "larch.toml")[2]
    assert path.read_bytes() == before
    lost = typed("profile", "draft", TOP_CASE_LOST, "--update", "larch.toml")[2]
    assert "kept, though this capture does not show it: keyboard, touchpad, fingerprint-reader." in lost
    assert path.read_bytes() == before


def test_an_update_with_a_unit_of_another_model_is_refused(bench: Path, typed: Typed) -> None:
    typed("profile", "draft", LARCH, "-o", "larch.toml")
    before = (bench / "larch.toml").read_bytes()
    code, _, err = typed("profile", "draft", "whole.json", "--update", "larch.toml")
    assert code == 3
    assert "Ostrey Plover S" in err
    assert (bench / "larch.toml").read_bytes() == before


WRONG_USAGE = [
    ("profile", "draft", LARCH, "--root", "x"),
    ("profile", "draft", LARCH, "--output", "a", "--update", "b"),
    ("profile", "add"),
]


@pytest.mark.parametrize("words", WRONG_USAGE, ids=range(len(WRONG_USAGE)))
def test_what_does_not_go_together_is_wrong_usage(typed: Typed, words: tuple[str, ...]) -> None:
    assert typed(*words)[0] == 2


@pytest.mark.parametrize("words", [("nothing.json",), ("broken.json",), (LARCH, "--update", "nothing.toml")])
def test_bad_input_gives_a_sentence(typed: Typed, words: tuple[str, ...]) -> None:
    code, out, err = typed("profile", "draft", *words)
    assert (code, out) == (3, "")
    assert "usbwatch: " in err
    assert "Traceback" not in err


UNFIT = {
    "no subassembly": ("", "nowhere to sit"),
    "one inline table": (
        'subassembly.x.name = "X"\ndevice = {kb = {name = "K", function = "keyboard", within = "x", needs = ["x"]}}\n',
        "table of its own",
    ),
}


@pytest.mark.parametrize(("tables", "told"), UNFIT.values(), ids=UNFIT)
def test_a_file_that_nothing_can_be_added_to_is_left_as_it_is(
    bench: Path, typed: Typed, tables: str, told: str
) -> None:
    text = f'format = "usbwatch-profile"\nschema = 1\nid = "a"\nname = "A"\nsource = "S"\n{tables}'
    (bench / "odd.toml").write_text(text, encoding="utf-8")
    code, _, err = typed("profile", "draft", LARCH, "--update", "odd.toml")
    assert code == 3
    assert told in err
    assert (bench / "odd.toml").read_text(encoding="utf-8") == text


def test_a_folder_is_added_one_sentence_a_file(bench: Path, typed: Typed) -> None:
    (bench / "friend").mkdir()
    for path in shipped("profiles").glob("*.toml"):
        (bench / "friend" / path.name).write_bytes(path.read_bytes())
    (bench / "friend" / "bad.toml").write_text("format = ", encoding="utf-8")
    (bench / "friend" / "link.toml").symlink_to(bench / "broken.json")
    code, out, err = typed("profile", "add", "friend")
    assert code == 3
    assert [line.partition(":")[0] for line in out.splitlines()] == [
        "brackwell-heron-14",
        "fernhill-larch-13",
        "generic-clamshell",
        "ostrey-plover-12",
    ]
    assert "friend/bad.toml: 1 fault" in err
    assert "friend/link.toml is passed over" in err
    code, out, _ = typed("profile", "add", "friend/fernhill-larch-13.toml")
    assert (code, out) == (0, "fernhill-larch-13: is in your library already, the same in every value.\n")
    (bench / "empty").mkdir()
    assert "no .toml file" in typed("profile", "add", "empty")[2]


def test_a_profile_that_was_edited_says_so(bench: Path, typed: Typed) -> None:
    typed("profile", "draft", LARCH, "-o", "larch.toml")
    assert "edited since" not in typed("profile", "show", "larch.toml")[1]
    text = (bench / "larch.toml").read_text(encoding="utf-8").replace('name = "Mainboard"', 'name = "Board"')
    (bench / "larch.toml").write_text(text, encoding="utf-8")
    assert "edited since" in typed("profile", "show", "larch.toml")[1]
    assert typed("check", LARCH, "--profile", "larch.toml")[0] == 0
    assert "has a new one" in typed("profile", "add", "larch.toml")[1]
    assert "edited since" not in typed("profile", "show", "fernhill-larch-13")[1]


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_no_string_of_a_unit_reaches_the_terminal_raw(bench: Path, typed: Typed, text: str) -> None:
    if "\udc80" in text:
        text = text.encode("utf-8", "backslashreplace").decode("utf-8")
    (bench / "ill.json").write_text(to_json(small_capture(product=text[:5000])), encoding="utf-8")
    code, out, err = typed("profile", "draft", "ill.json", "-o", "ill.toml")
    assert (code, out) == (0, "")
    told_by_us_alone(err)
    code, out, err = typed("profile", "add", "ill.toml")
    assert (code, err) == (0, "")
    assert out.count("\n") == 1
    assert safe(out[:-1], len(out)) == out[:-1]


FORGED = "Larch\nusbwatch: forged\r\x85usbwatch: forged\u2028usbwatch: forged"
READ_AS_WORDS = frozenset({"taken_at", "tool", "platform", "source", "bus", "location", "raw"})
"""Strings of a capture that reading holds to a shape, or that tell one node from another."""


def told_by_us_alone(err: str) -> None:
    """Every line is a sentence of our own or goes on with a list of faults, and nothing in it is raw."""
    for line in err.split("\n")[:-1]:
        assert line.startswith(("usbwatch: ", "  "))
        assert not line.startswith("usbwatch: forged")
        assert safe(line, len(line)) == line


@pytest.mark.parametrize("whole", [True, False])
def test_no_string_of_a_unit_begins_a_line(bench: Path, typed: Typed, whole: bool) -> None:
    """Every string of a capture and of its log has line breaks in it: each stays inside the sentence that shows it."""
    ill = small_capture(usb_seen=whole)
    here = ill.nodes[0].location
    blind = tuple(replace(one, state=CoverageState.FAILED, why="x") if not one.why else one for one in ill.coverage)
    ill = replace(
        ill,
        coverage=ill.coverage if whole else blind,
        system=replace(ill.system, virtual="x"),
        episodes=(
            Episode(location=here, trouble="x", count=1, lines=("x",)),
            Episode(location="", trouble="x", count=1, lines=("x",), subject="x"),
        ),
    )
    poison: Capture = poisoned(ill, FORGED, READ_AS_WORDS)
    (bench / "ill.json").write_text(to_json(poison), encoding="utf-8")
    code, _, err = typed("profile", "draft", "ill.json", "-o", "ill.toml")
    assert code == 0
    assert "emulated machine (Larch\\x0ausbwatch: forged" in err
    assert "tells of trouble (Larch\\x0ausbwatch: forged" in err
    told_by_us_alone(err)
    told_by_us_alone(typed("profile", "draft", "ill.json", "--update", "ill.toml")[2])
    code, _, err = typed("profile", "add", "ill.toml")
    told_by_us_alone(err)


def test_no_name_of_a_file_begins_a_line(bench: Path, typed: Typed) -> None:
    folder = bench / "friend"
    folder.mkdir()
    for ending in ("json", "toml"):
        (folder / f"a\nusbwatch: forged.{ending}").write_text("{", encoding="utf-8")
        (folder / f"b\nusbwatch: forged.{ending}").symlink_to(bench / "broken.json")
    (bench / "none\nusbwatch: forged").mkdir()
    for typing in (
        ("learn", "friend", "none\nusbwatch: forged"),
        ("add", "friend", "none\nusbwatch: forged"),
        ("validate", "friend/a\nusbwatch: forged.toml"),
        ("draft", "friend/a\nusbwatch: forged.json"),
    ):
        code, _, err = typed("profile", *typing)
        assert code == 3
        assert "\\nusbwatch: forged" in err or "\\x0ausbwatch: forged" in err
        told_by_us_alone(err)


def test_a_profile_that_stands_before_or_beside_another_is_said(bench: Path, typed: Typed) -> None:
    typed("profile", "draft", LARCH, "-o", "larch.toml")
    assert "takes the place of the shipped profile" in typed("profile", "add", "larch.toml")[2]
    text = (bench / "larch.toml").read_text(encoding="utf-8")
    (bench / "second.toml").write_text(text.replace('id = "fernhill-larch-13"', 'id = "our-larch"'), encoding="utf-8")
    assert "same as that of fernhill-larch-13" in typed("profile", "add", "second.toml")[2]
    err = typed("check", LARCH)[2]
    assert "fernhill-larch-13 is used; our-larch fits this unit as well" in err
    assert "fits this unit as well" not in typed("check", LARCH, "--profile", "our-larch")[2]


def test_a_capture_given_as_a_profile_and_the_reverse_are_called_what_they_are(bench: Path, typed: Typed) -> None:
    typed("profile", "draft", LARCH, "-o", "larch.toml")
    (bench / "packed.json.gz").write_bytes(gzip.compress(b"{}"))
    (bench / "notes.md").write_text("# Notes\n", encoding="utf-8")
    with tarfile.open(bench / "tree.tar", "w") as archive:
        archive.add(bench / "notes.md", "sys/notes")
    (bench / "tree.tar.gz").write_bytes(gzip.compress((bench / "tree.tar").read_bytes()))
    assert "usbwatch profile draft" in typed("profile", "add", LARCH)[2]
    for name, said in (
        ("larch.toml", "is a profile"),
        ("packed.json.gz", "gzip"),
        ("notes.md", "is not a capture file"),
        ("tree.tar", "is an archive of a copied tree; give it as --root tree.tar"),
        ("tree.tar.gz", "is an archive of a copied tree; give it as --root tree.tar.gz"),
    ):
        code, _, err = typed("check", name)
        assert (code, said in err, "capture the unit again" in err) == (3, True, False)


def test_an_empty_name_is_no_capture_of_this_machine(typed: Typed) -> None:
    code, out, err = typed("profile", "draft", "")
    assert (code, out) == (3, "")
    assert err.startswith("usbwatch: capture")


@pytest.mark.parametrize("day", ["2026-11-29", "2026-12-31"])
def test_a_draft_tells_the_day_of_its_capture(bench: Path, typed: Typed, day: str) -> None:
    late = replace(small_capture(), taken_at=f"{day}T09:14:00Z")
    (bench / "late.json").write_text(to_json(late), encoding="utf-8")
    assert f'since = "{day}"' in typed("profile", "draft", "late.json")[1]
