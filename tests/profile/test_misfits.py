"""The shape of a profile: every misfit as a sentence, and the two readers agree."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from usbwatch.errors import BadProfile
from usbwatch.profile import parse, shipped
from usbwatch.profile.misfits import misfits
from usbwatch.profile.shape import Document

TOP: dict[str, object] = {
    "format": "usbwatch-profile",
    "schema": 1,
    "id": "demo",
    "name": "Demo",
    "source": "Invented.",
}
ID_RULE = "write lower-case words, joined by hyphens, of at most 60 characters"
DEVICE: dict[str, object] = {"name": "Keyboard", "function": "keyboard", "within": "top-case"}


def told(**changes: object) -> list[str]:
    """Faults of one device with some keys changed, without their place."""
    return [fault.problem for fault in misfits({**TOP, "device": {"keyboard": {**DEVICE, **changes}}})]


@pytest.mark.parametrize(
    ("key", "value", "problem"),
    [
        ("name", 3, "is 3; expected text in quotes"),
        ("name", "", "is empty; write something or leave the key out"),
        ("name", "n" * 121, f"is '{'n' * 60}…', too long; at most 120 characters"),
        ("function", "keybord", "'keybord' is no known word for function; did you mean keyboard?"),
        ("reaches", "Bound", "'Bound' is no known word for reaches; did you mean bound?"),
        ("within", "Top Case", f"'Top Case' has the wrong form; {ID_RULE}"),
        ("location", 7, "is 7; expected text in quotes, or a list of texts"),
        ("location", {}, "is a table; expected text in quotes, or a list of texts"),
        ("location", [], "has too few items; at least 1"),
        ("location", ["x", 7], "is 7; expected text in quotes"),
        ("location", "", "is empty; write something or leave the key out"),
        ("needs", "flex", "is 'flex'; expected a list"),
        ("needs", ["a"] * 101, "has too many items; at most 100"),
        ("optional", "yes", "is 'yes'; expected true or false"),
        ("optional", 1, "is 1; expected true or false"),
        ("speed_mbps", 0, "is 0; expected 1 or more"),
        ("lanes", 33, "is 33; expected at most 32"),
        ("link_gts", 0.0, "is 0.0; expected more than 0"),
        ("speed_mbps", 1.5, "is 1.5; expected a whole number"),
        ("speed_mbps", 480.0, "is 480.0; expected a whole number"),
        ("speed_mbps", True, "is true; expected a whole number"),
        ("weight", 0, "is 0; expected more than 0"),
        ("weight", -1.5, "is -1.5; expected more than 0"),
        ("weight", 2000, "is 2000; expected at most 1000"),
        ("weight", "high", "is 'high'; expected a number"),
        ("locaton", "x", "unknown key; did you mean location?"),
    ],
)  # fmt: skip
def test_a_misfit_says_what_is_there_and_what_is_expected(key: str, value: object, problem: str) -> None:
    assert told(**{key: value}) == [problem]


def test_a_fitting_document_has_none() -> None:
    assert told() == []


@pytest.mark.parametrize("cost", [-1, -(2**40)], ids=str)
def test_a_negative_cost_is_a_misfit(cost: int) -> None:
    (fault,) = misfits({**TOP, "subassembly": {"mainboard": {"name": "M", "cost": cost}}})
    assert (fault.place, fault.problem) == (("subassembly", "mainboard", "cost"), f"is {cost}; expected 0 or more")


def test_an_id_of_the_wrong_form_is_told_at_its_table() -> None:
    (fault,) = misfits({**TOP, "device": {"Key_board": DEVICE}})
    assert fault.place == ("device", "Key_board")
    assert fault.problem.startswith("'Key_board' is no id; ")


def test_a_date_of_the_wrong_form_says_how_to_write_it() -> None:
    (fault,) = misfits({**TOP, "date": "14 March 2026"})
    assert fault.problem == "'14 March 2026' has the wrong form; write it as year-month-day, such as 2026-03-14"


def test_a_serial_number_in_match_is_told_why_not() -> None:
    (fault,) = misfits({**TOP, "match": {"product_serial": "LG-0001-DEMO"}})
    assert fault.problem == "unknown key; a serial number names one unit, not a model"


def test_a_key_with_nothing_near_lists_the_known_ones() -> None:
    (fault,) = misfits({**TOP, "money": {"zzz": 1}})
    assert fault.problem == "unknown key; known here: currency, value_working, value_as_is, value_parts, hourly_rate"


def test_missing_keys_are_told_each() -> None:
    faults = set(misfits({**TOP, "device": {"keyboard": {}}}))
    assert {fault.problem for fault in faults} == {
        "the key name is missing",
        "the key function is missing",
        "the key within is missing",
    }


_LEAF = st.one_of(
    st.booleans(),
    st.integers(-3, 3),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(["", "x", "keyboard", "bound", "1209:0001", "Two Words"]),
)
_VALUE = st.one_of(
    _LEAF, st.lists(_LEAF, max_size=3), st.dictionaries(st.sampled_from(["name", "x"]), _LEAF, max_size=2)
)


@pytest.mark.properties
class TestBothReadersAgree:
    """msgspec (the fast path) and jsonschema over the schema made from the same shape accept the same documents."""

    @settings(deadline=None)
    @given(
        values=st.dictionaries(
            st.sampled_from([*DEVICE, "location", "needs", "reaches", "speed_mbps", "optional", "weight", "other"]),
            _VALUE,
        )
    )
    def test_on_any_device(self, values: dict[str, object]) -> None:
        self._agree({**TOP, "device": {"keyboard": {**DEVICE, **values}}})

    @settings(deadline=None)
    @given(
        table=st.sampled_from(
            ["match", "variant", "subassembly", "section", "link", "rail", "check", "money", "generic"]
        ),
        value=_VALUE,
        within=st.booleans(),
    )
    def test_on_any_table(self, table: str, value: object, *, within: bool) -> None:
        self._agree({**TOP, table: {"x": value} if within else value})

    def _agree(self, document: dict[str, object]) -> None:
        found = list(misfits(document))
        try:
            msgspec.convert(document, Document)
        except msgspec.ValidationError:
            assert found
        else:
            assert found == []


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ('[money]\ncurrency = "', '# [money]\ncurrency = "', "is there a # before that heading still?"),
        ("minutes = 12\n", "minutes = 12,50\n", "write a whole number, without a comma"),
        ('name = "Mainboard"', 'name = "Main\tboard"', "holds a tab, which cannot be shown: 'Main board'"),
    ],
)
def test_slips_of_editing_are_told_with_what_to_do(before: str, after: str, said: str) -> None:
    text = (shipped("profiles") / "fernhill-larch-13.toml").read_text(encoding="utf-8")
    assert before in text
    with pytest.raises(BadProfile) as caught:
        parse(text.replace(before, after, 1), "mine.toml")
    assert said in str(caught.value)
