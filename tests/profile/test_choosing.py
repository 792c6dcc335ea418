"""Which profile and which variant a unit's strings choose."""

from __future__ import annotations

import pytest

from usbwatch.model import Match, Profile, UnitStrings, Variant
from usbwatch.profile import fits, fitting, variant_of

LARCH = UnitStrings(
    sys_vendor="Fernhill", product_name="Larch 13", product_version="Rev B", product_sku="L13-8-256", chassis_type="10"
)


def made_for(id_: str, *, generic: bool = False, **strings: str | tuple[str, ...]) -> Profile:
    return Profile(id=id_, name=id_, source="Invented.", generic=generic, match=_match(**strings))


def _match(**strings: str | tuple[str, ...]) -> Match:
    return Match(strings={key: (value,) if isinstance(value, str) else value for key, value in strings.items()})


def chosen(*profiles: Profile, unit: UnitStrings = LARCH) -> list[str]:
    return [profile.id for profile in fitting(unit, profiles)]


@pytest.mark.parametrize(
    ("strings", "fits_it"),
    [
        ({"sys_vendor": "Fernhill"}, True),
        ({"sys_vendor": "FERNHILL"}, True),
        ({"sys_vendor": "  fernhill "}, True),
        ({"product_name": "Larch   13"}, True),
        ({"product_name": "larch\t13"}, True),
        ({"product_name": "Larch13"}, False),
        ({"product_name": "Larch"}, False),
        ({"product_name": ("Larch 11", "Larch 13")}, True),
        ({"product_name": ("Larch 11", "Larch 15")}, False),
        ({"sys_vendor": "Fernhill", "product_name": "Larch 11"}, False),
        ({"chassis_type": ("9", "10")}, True),
        ({"board_name": "LB13-MB"}, False),
        ({"board_name": ""}, False),
        ({"board_name": "  "}, False),
        ({}, False),
        ({"no_such_key": "x"}, False),
    ],
    ids=str,
)
def test_every_key_must_equal_one_of_its_values(strings: dict[str, str | tuple[str, ...]], *, fits_it: bool) -> None:
    profile = Profile(id="one", name="One", source="Invented.", match=_match(**strings))
    assert fits(profile, LARCH) is fits_it
    assert chosen(profile) == (["one"] if fits_it else [])


def test_a_unit_without_strings_chooses_nothing() -> None:
    assert chosen(made_for("one", sys_vendor="Fernhill"), unit=UnitStrings()) == []


def test_case_folds_beyond_ascii() -> None:
    """Unicode case folding (The Unicode Standard, 3.13): sharp s equals double s."""
    assert chosen(made_for("one", sys_vendor="GROSS"), unit=UnitStrings(sys_vendor="Groß")) == ["one"]


def test_the_most_specific_comes_first_and_equals_keep_their_order() -> None:
    maker = made_for("maker", sys_vendor="Fernhill")
    model = made_for("model", sys_vendor="Fernhill", product_name="Larch 13")
    mine = made_for("mine", sys_vendor="Fernhill", product_version="Rev B")
    assert chosen(maker, mine, model) == ["mine", "model", "maker"]
    assert chosen(model, maker, mine) == ["model", "mine", "maker"]


def test_more_values_for_one_key_are_not_more_specific() -> None:
    many = made_for("many", product_name=("Larch 13", "Larch 14", "Larch 15"))
    two = made_for("two", sys_vendor="Fernhill", product_name="Larch 13")
    assert chosen(many, two) == ["two", "many"]


def test_a_generic_profile_is_never_chosen_by_strings() -> None:
    assert chosen(made_for("any", generic=True), made_for("odd", generic=True, sys_vendor="Fernhill")) == []


def _variant(id_: str, **strings: str | tuple[str, ...]) -> Variant:
    return Variant(id=id_, name=id_, match=_match(**strings))


@pytest.mark.parametrize(
    ("variants", "told"),
    [
        ([_variant("touch", product_sku="L13-8-256")], "touch"),
        ([_variant("touch", product_sku="l13-8-256 ")], "touch"),
        ([_variant("plain", product_sku="L13")], None),
        ([_variant("a", product_sku="L13-8-256"), _variant("b", product_sku="L13-8-256")], "a"),
        (
            [_variant("a", product_sku="L13-8-256"), _variant("b", product_sku="L13-8-256", product_version="rev b")],
            "b",
        ),
        ([_variant("a")], None),
        ([], None),
    ],
    ids=["fits", "folded", "other", "first of equals", "most specific", "matches nothing", "none"],
)
def test_the_variant_is_the_most_specific_that_fits(variants: list[Variant], told: str | None) -> None:
    found = variant_of(Profile(id="p", name="p", source="Invented.", variants=tuple(variants)), LARCH)
    assert (found.id if found else None) == told
