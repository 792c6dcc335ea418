"""What of the shop's own goes along on a stick: profiles, prices, closed cases; the image itself is not made here."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.unit_bench import Bench

from usbwatch.casebook import open_book
from usbwatch.profile import known, parse
from usbwatch.stick.building import Recipe
from usbwatch.stick.experience import read_experience
from usbwatch.stick.settings import Settings


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[Recipe]:
    """The recipes that were to be built."""
    recipes: list[Recipe] = []

    def build(target: Path, recipe: Recipe, *, tell: Callable[[str], None]) -> Settings:
        recipes.append(recipe)
        tell("building")
        target.write_bytes(b"image")
        return Settings(
            built="2026-03-02T09:14:00Z", usbwatch="0", kernel="0", data_partition="", profiles="/", money=recipe.money
        )

    monkeypatch.setattr("usbwatch.stick.building.build_image", build)
    monkeypatch.delenv("SUDO_USER", raising=False)
    return recipes


def test_profiles_of_the_library_go_along_without_prices(quick_bench: Bench, asked: list[Recipe]) -> None:
    own = [one for one in known() if Path(one.path).parent == quick_bench.folder / "profiles"]
    done = quick_bench.run("stick", "new.img")
    assert done.code == 0
    assert set(asked[0].profiles) == {f"{one.id}.toml" for one in own} != set()
    assert all("cost" not in text for text in asked[0].profiles.values())
    assert all(parse(text, name) for name, text in asked[0].profiles.items())
    assert (asked[0].money, asked[0].experience) == (False, None)
    assert "prices stay here (--money)" in done.said
    assert own[0].id in done.said


def test_with_money_they_go_as_they_are(quick_bench: Bench, asked: list[Recipe]) -> None:
    quick_bench.run("stick", "new.img", "--money")
    files = (quick_bench.folder / "profiles").glob("*.toml")
    assert asked[0].money
    assert sorted(asked[0].profiles.values()) == sorted(path.read_text("utf-8") for path in files)


def test_closed_cases_go_along_when_they_are_asked_for_and_not_before(quick_bench: Bench, asked: list[Recipe]) -> None:
    empty = quick_bench.run("stick", "new.img", "--priors")
    assert empty.code == 3  # there is no casebook yet
    quick_bench.well("open", "LB-0001", "lost.json")
    done = quick_bench.run("stick", "new.img", "--priors")
    assert "no closed case with a known cause, so none goes along" in done.said
    quick_bench.well("close", "LB-0001", "repaired", "--cause", "open:flex")
    quick_bench.run("stick", "second.img")
    assert [one.experience for one in asked] == [None, None]
    done = quick_bench.run("stick", "third.img", "--priors")
    assert "closed cases go along" in done.said
    document = asked[-1].experience
    assert document is not None
    (quick_bench.folder / "experience.json").write_text(document, "utf-8")
    book = open_book(quick_bench.address)
    try:
        for profile in known():
            found = read_experience(str(quick_bench.folder / "experience.json"), profile.id)
            assert found == book.experience(profile.id)
    finally:
        book.close()


def test_under_sudo_it_is_said_whose_profiles_go_along(
    quick_bench: Bench, asked: list[Recipe], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SUDO_USER", "bench")
    monkeypatch.setattr("os.geteuid", lambda: 0)
    done = quick_bench.run("stick", "new.img")
    assert len(asked) == 1
    assert "the profiles and the casebook of root go along, not those of bench" in done.said
