"""What must hold between the tables, checked on plain data of any shape."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.profile.crosschecks import crosschecks
from usbwatch.profile.faults import Place

Tables = dict[str, object]


def a_profile(**tables: object) -> Tables:
    """A sound document with some of its tables replaced."""
    sound: Tables = {
        "subassembly": {"mainboard": {"name": "Mainboard"}, "top-case": {"name": "Top case"}},
        "link": {"flex": {"joins": ["mainboard", "top-case"]}},
        "device": {"keyboard": {"within": "top-case", "needs": ["flex"]}},
    }
    return sound | tables


def told(document: Tables) -> list[tuple[Place, str]]:
    return [(fault.place, fault.problem) for fault in crosschecks(document)]


def places(document: Tables) -> list[Place]:
    return [place for place, _ in told(document)]


def test_a_sound_document_has_no_fault() -> None:
    assert told(a_profile()) == []


@pytest.mark.parametrize(
    ("tables", "place"),
    [
        ({"section": {"flex": {"within": "mainboard"}}}, ("link", "flex")),
        ({"variant": {"keyboard": {"match": {"product_sku": "x"}}}}, ("device", "keyboard")),
        ({"check": {"mainboard": {"needs": ["flex"]}}}, ("check", "mainboard")),
        ({"section": {"s": {"within": "nowhere"}}}, ("section", "s", "within")),
        ({"section": {"s": {"within": "keyboard"}}}, ("section", "s", "within")),
        ({"rail": {"r": {"within": "flex"}}}, ("rail", "r", "within")),
        ({"rail": {"r": {"within": "keyboard"}}}, ("rail", "r", "within")),
        ({"link": {"flex": {"joins": ["mainboard", "nowhere"]}}}, ("link", "flex", "joins", 1)),
        ({"link": {"flex": {"joins": ["mainboard", "mainboard"]}}}, ("link", "flex", "joins")),
        ({"variant": {"v": {"without": ["flex"], "match": {"a": "b"}}}}, ("variant", "v", "without", 0)),
        ({"variant": {"v": {"match": {}}}}, ("variant", "v", "match")),
        ({"check": {"c": {"needs": ["flex", "c"]}}}, ("check", "c", "needs", 1)),
        ({"check": {"c": {"needs": []}}}, ("check", "c", "needs")),
        ({"check": {"c": {}}}, ("check", "c", "needs")),
        ({"device": {"a": {"needs": ["b"]}, "b": {"needs": ["flex", "a"]}}}, ("device", "a", "needs")),
        ({"device": {"a": {"needs": ["flex"], "location": "port 4"}}}, ("device", "a", "location")),
        ({"device": {"a": {"needs": ["flex"], "identity": ["1209:000A"]}}}, ("device", "a", "identity", 0)),
        ({"generic": True, "match": {"sys_vendor": "x"}}, ("match",)),
        ({"money": {"value_working": 1, "value_as_is": 2}}, ("money", "value_as_is")),
        ({"date": "2026-13-01"}, ("date",)),
    ],
    ids=lambda value: ".".join(map(str, value)) if isinstance(value, tuple) else None,
)
def test_one_thing_wrong_is_one_fault_in_its_place(tables: Tables, place: Place) -> None:
    assert places(a_profile(**tables)) == [place]


@pytest.mark.parametrize(
    "tables",
    [
        {"device": {"hub": {"needs": ["mainboard"]}, "a": {"needs": ["hub"]}, "b": {"needs": ["hub", "a"]}}},
        {"device": {"a": {"needs": ["flex"], "identity": ["PNP0C0A", "1209:000a"]}}},
        {"check": {"c": {"needs": ["top-case"]}}},
        {"section": {"s": {"within": "flex"}}},
        {"money": {"value_working": 5, "value_as_is": 5}},
        {"generic": True},
        {"date": "2024-02-29"},
    ],
    ids=[
        "shared hub",
        "upper-case firmware id",
        "a part alone",
        "lines of a link",
        "worth the same",
        "generic",
        "leap day",
    ],
)
def test_what_is_unusual_but_right_is_no_fault(tables: Tables) -> None:
    assert told(a_profile(**tables)) == []


def test_a_name_of_the_wrong_kind_says_what_it_is_and_what_is_expected() -> None:
    ((_, problem),) = told(a_profile(rail={"r": {"within": "flex"}}))
    assert problem == "'flex' is a link; expected a subassembly"


def test_a_misspelt_name_is_told_with_the_nearest_one() -> None:
    ((_, problem),) = told(a_profile(section={"s": {"within": "mainbord"}}))
    assert problem == "'mainbord' names nothing in this profile; did you mean mainboard?"


def test_a_circle_is_told_once_and_in_order() -> None:
    ring = {name: {"needs": [other]} for name, other in zip("abc", "bca", strict=True)}
    ((place, problem),) = told(a_profile(device=ring))
    assert (place, problem) == (("device", "a", "needs"), "goes round in a circle: a needs b needs c needs a")


def test_two_circles_are_told_both() -> None:
    rings = {"a": {"needs": ["b"]}, "b": {"needs": ["a"]}, "c": {"needs": ["c"]}}
    assert places(a_profile(device=rings)) == [("device", "a", "needs"), ("device", "c", "needs")]


def test_a_long_circle_is_shortened() -> None:
    names = [f"d{number}" for number in range(5000)]
    ring = {name: {"needs": [other]} for name, other in zip(names, [*names[1:], names[0]], strict=True)}
    ((_, problem),) = told(a_profile(device=ring))
    assert problem.endswith("d5 needs … needs d0")


def test_a_long_chain_is_no_circle() -> None:
    chain = {f"d{number}": {"needs": [f"d{number + 1}"]} for number in range(20_000)}
    chain["d20000"] = {"needs": ["flex"]}
    assert told(a_profile(device=chain)) == []


def test_devices_that_rest_on_devices_alone_are_told_each() -> None:
    adrift = {"hub": {}, "keyboard": {"needs": ["hub"]}}
    assert places(a_profile(device=adrift)) == [("device", "hub", "needs"), ("device", "keyboard", "needs")]


@pytest.mark.parametrize("needs", [3, "flex", [3], {"flex": 1}], ids=str)
def test_needs_of_the_wrong_shape_are_left_to_the_shape(needs: object) -> None:
    assert ("device", "keyboard", "needs") not in [
        place for place, problem in told(a_profile(device={"keyboard": {"needs": needs}})) if "no part" in problem
    ]


_ANY = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.sampled_from(["a", "b", "flex", "mainboard"])),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from(["a", "b", "needs", "within", "joins", "without", "match"]), inner, max_size=4),
    ),
    max_leaves=20,
)


def _waits_on_itself(needs: dict[str, list[str]]) -> set[str]:
    """By definition: the devices that can be come back to by following needs, searched from each one afresh."""
    found = set()
    for start, others in needs.items():
        seen: set[str] = set()
        ahead = list(others)
        while ahead:
            name = ahead.pop()
            if name in needs and name not in seen:
                seen.add(name)
                ahead += needs[name]
        if start in seen:
            found.add(start)
    return found


@pytest.mark.properties
class TestCrosschecks:
    """No shape of the data breaks a check; a circle is told exactly where needs lead back to their beginning."""

    @given(
        document=st.dictionaries(
            st.sampled_from(["variant", "subassembly", "section", "link", "rail", "device", "check", "match", "money"]),
            _ANY,
        )
    )
    def test_any_shape_is_borne(self, document: Tables) -> None:
        for fault in crosschecks(document):
            assert fault.place
            assert fault.problem.isprintable()

    @given(
        needs=st.dictionaries(
            st.sampled_from("abcdef"), st.lists(st.sampled_from("abcdef"), max_size=3, unique=True), max_size=6
        )
    )
    def test_circles_are_found_where_there_are_any(self, needs: dict[str, list[str]]) -> None:
        document = {"device": {name: {"needs": others} for name, others in needs.items()}}
        circles = [problem for _, problem in told(dict(document)) if "circle" in problem]
        named = {name for problem in circles for name in problem.split(": ")[1].split(" needs ")}
        assert named <= _waits_on_itself(needs)
        assert bool(circles) == bool(_waits_on_itself(needs))
