"""Profiles put into the user's library: whole or not at all, under a name of our own, nothing lost."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from usbwatch.cli.writing import write_file
from usbwatch.errors import BadProfile, UnwritableOutput
from usbwatch.profile import Installed, Outcome, files_in, find, install, library, load, shipped
from usbwatch.profile.reading import LARGEST_FILE

TEXT = 'format = "usbwatch-profile"\nschema = 1\n# our own words\nid = "{id}"\nname = "{name}"\nsource = "Invented."\n'


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's library, which is not there yet."""
    folder = tmp_path / "not" / "there"
    monkeypatch.setenv("USBWATCH_PROFILES", str(folder))
    return folder


def source(folder: Path, id_: str = "larch-x", name: str = "Larch X", file: str = "whatever.toml") -> str:
    path = folder / file
    path.write_text(TEXT.format(id=id_, name=name), encoding="utf-8")
    return str(path)


def put(path: str, *, replace: bool = False) -> Installed:
    return install(path, lambda target, text: write_file(target, text, force=True), replace=replace)


def held(folder: Path) -> set[str]:
    return {one.name for one in folder.iterdir()}


def test_a_profile_is_installed_under_its_id_and_sealed(own: Path, tmp_path: Path) -> None:
    done = put(source(tmp_path))
    assert (done.outcome, done.path, done.backup, done.was_edited) == (
        Outcome.ADDED,
        str(own / "larch-x.toml"),
        "",
        False,
    )
    assert held(own) == {"larch-x.toml"}
    text = (own / "larch-x.toml").read_text(encoding="utf-8")
    assert "# our own words" in text
    installed = find("larch-x")
    assert (installed.edited, installed.digest.startswith("sha256:")) == (False, True)


NAMES = ["..%2f.toml", "a b;rm -rf ~.toml", "-rf.toml", "键盘.toml", "x.tar.gz.toml", "\x1b[2J.toml", "con.toml"]


@pytest.mark.parametrize("file", NAMES)
def test_the_name_of_the_source_never_becomes_a_name(own: Path, tmp_path: Path, file: str) -> None:
    put(source(tmp_path, file=file))
    assert held(own) == {"larch-x.toml"}


@pytest.mark.parametrize("id_", ["con", "aux", "com1"])
def test_names_that_windows_keeps_for_devices_are_not_used(own: Path, tmp_path: Path, id_: str) -> None:
    put(source(tmp_path, id_=id_))
    assert held(own) == {f"{id_}-profile.toml"}
    assert find(id_).id == id_


IDS = ["../up", "a/b", "", "UPPER", "a" * 61, ".", "a\\\\b"]


@pytest.mark.parametrize("id_", IDS)
def test_an_id_that_is_none_is_refused(own: Path, tmp_path: Path, id_: str) -> None:
    with pytest.raises(BadProfile, match="id"):
        put(source(tmp_path, id_=id_))
    assert not own.exists()


def test_the_same_one_again_is_skipped_even_in_other_words(own: Path, tmp_path: Path) -> None:
    path = source(tmp_path)
    put(path)
    before = (own / "larch-x.toml").read_bytes()
    Path(path).write_text("# another remark\n" + Path(path).read_text(encoding="utf-8"), encoding="utf-8")
    assert put(path).outcome is Outcome.SAME
    assert put(str(own / "larch-x.toml")).outcome is Outcome.SAME
    assert (own / "larch-x.toml").read_bytes() == before


def test_another_one_with_the_same_id_is_refused_and_then_replaced_with_a_copy_kept(own: Path, tmp_path: Path) -> None:
    put(source(tmp_path))
    before = (own / "larch-x.toml").read_bytes()
    other = source(tmp_path, name="Larch Y", file="other.toml")
    with pytest.raises(BadProfile, match="--replace"):
        put(other)
    assert held(own) == {"larch-x.toml"}
    assert (own / "larch-x.toml").read_bytes() == before
    done = put(other, replace=True)
    assert done.outcome is Outcome.REPLACED
    assert Path(done.backup).read_bytes() == before
    assert find("larch-x").name == "Larch Y"
    assert library().broken == ()


def test_the_same_id_under_another_file_name_is_found_too(own: Path, tmp_path: Path) -> None:
    own.mkdir(parents=True)
    source(own, file="by-hand.toml")
    other = source(tmp_path, name="Larch Y")
    with pytest.raises(BadProfile, match=r"by-hand\.toml"):
        put(other)
    put(other, replace=True)
    assert [one.name for one in own.glob("*.toml")] == ["larch-x.toml"]
    assert library().broken == ()
    assert find("larch-x").name == "Larch Y"


def test_a_file_of_another_profile_in_the_way_is_not_lost(own: Path, tmp_path: Path) -> None:
    own.mkdir(parents=True)
    source(own, id_="renamed", file="larch-x.toml")
    with pytest.raises(BadProfile, match="--replace"):
        put(source(tmp_path))
    done = put(source(tmp_path), replace=True)
    assert load(done.path).id == "larch-x"
    assert 'id = "renamed"' in Path(done.backup).read_text(encoding="utf-8")


def test_every_broken_file_that_is_replaced_is_kept_byte_by_byte(own: Path, tmp_path: Path) -> None:
    own.mkdir(parents=True)
    broken = [b"first", b"second \xff", b"#" * (LARGEST_FILE + 1)]
    for content in broken:
        (own / "larch-x.toml").write_bytes(content)
        put(source(tmp_path), replace=True)
    assert {one.read_bytes() for one in own.glob("*.bak")} == set(broken)


def test_a_link_in_the_place_of_the_copy_is_not_followed(own: Path, tmp_path: Path) -> None:
    put(source(tmp_path))
    first = Path(put(source(tmp_path, name="Larch Y"), replace=True).backup)
    precious = tmp_path / "precious.txt"
    precious.write_bytes(b"precious")
    put(source(tmp_path), replace=True)
    before = (own / "larch-x.toml").read_bytes()
    first.unlink()
    first.symlink_to(precious)
    with pytest.raises(UnwritableOutput, match="cannot be copied"):
        put(source(tmp_path, name="Larch Z"), replace=True)
    assert precious.read_bytes() == b"precious"
    assert (own / "larch-x.toml").read_bytes() == before


def test_what_takes_the_place_of_a_file_has_its_rights(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("before", encoding="utf-8")
    path.chmod(0o600)
    write_file(str(path), "after", force=True)
    assert (path.read_text(encoding="utf-8"), path.stat().st_mode & 0o777) == ("after", 0o600)


def test_a_link_in_the_library_is_never_written_through(own: Path, tmp_path: Path) -> None:
    own.mkdir(parents=True)
    precious = tmp_path / "precious.txt"
    precious.write_text("precious", encoding="utf-8")
    (own / "larch-x.toml").symlink_to(precious)
    with pytest.raises(UnwritableOutput, match="no plain file"):
        put(source(tmp_path), replace=True)
    assert precious.read_text(encoding="utf-8") == "precious"


def test_a_file_that_is_no_sound_profile_leaves_the_library_as_it_was(own: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(TEXT.format(id="larch-x", name="") + "unknown = 1\n", encoding="utf-8")
    with pytest.raises(BadProfile):
        put(str(bad))
    huge = tmp_path / "huge.toml"
    huge.write_text(TEXT.format(id="larch-x", name="L") + "#" * LARGEST_FILE, encoding="utf-8")
    with pytest.raises(BadProfile, match="larger"):
        put(str(huge))
    with pytest.raises(BadProfile, match="no such file"):
        put(str(tmp_path / "nothing.toml"))
    assert not own.exists()


def test_one_that_its_digest_makes_too_large_is_refused(own: Path, tmp_path: Path) -> None:
    """It would be installed, and then be refused by its size."""
    head = TEXT.format(id="larch-x", name="L")
    room = LARGEST_FILE - len(head) - 20
    filler = "\n".join(["#" * 999] * (room // 1000))
    path = tmp_path / "large.toml"
    path.write_text(head + filler + "#" * (LARGEST_FILE - 20 - len(head) - len(filler)), encoding="utf-8")
    assert load(str(path)).id == "larch-x"
    with pytest.raises(BadProfile, match="with its digest"):
        put(str(path))
    assert not own.exists()


def test_an_edited_one_gets_a_new_digest_and_that_is_told(own: Path, tmp_path: Path) -> None:
    put(source(tmp_path))
    text = (
        (own / "larch-x.toml").read_text(encoding="utf-8").replace("Larch X", "Larch Z").replace("larch-x", "larch-z")
    )
    edited = tmp_path / "edited.toml"
    edited.write_text(text, encoding="utf-8")
    assert load(str(edited)).edited
    done = put(str(edited))
    assert done.was_edited
    assert not load(done.path).edited


def test_a_shipped_profile_is_installed_in_the_place_of_itself(own: Path) -> None:
    put(str(shipped("profiles") / "fernhill-larch-13.toml"))
    shelf = library()
    mine = next(one for one in shelf.profiles if one.id == "fernhill-larch-13")
    assert mine.path.startswith(str(own))
    assert shelf.origin(mine) == "your library, in place of the shipped profile with this id"
    assert [one.id for one in shelf.shadowed] == ["fernhill-larch-13"]
    others = {shelf.origin(one) for one in shelf.profiles if one.id != "fernhill-larch-13"}
    assert others == {"shipped with usbwatch"}


def test_a_folder_gives_its_plain_profile_files(tmp_path: Path) -> None:
    source(tmp_path, file="b.toml")
    source(tmp_path, file="a.toml")
    source(tmp_path, file=".hidden.toml")
    source(tmp_path, file="notes.txt")
    (tmp_path / "link.toml").symlink_to(tmp_path / "notes.txt")
    (tmp_path / "folder.toml").mkdir()
    os.mkfifo(tmp_path / "pipe.toml")
    files, passed_over = files_in(str(tmp_path))
    assert [Path(one).name for one in files] == ["a.toml", "b.toml"]
    assert [Path(one).name for one in passed_over] == ["folder.toml", "link.toml", "pipe.toml"]
    with pytest.raises(BadProfile, match="cannot be listed"):
        files_in(str(tmp_path / "nothing"))


def test_a_library_that_cannot_be_made_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv("USBWATCH_PROFILES", str(tmp_path / "file" / "below"))
    with pytest.raises(UnwritableOutput, match="cannot be made"):
        put(source(tmp_path))
