"""What differs between two records, and what changes by itself."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.hostile import HOSTILE
from support.two_looks import usb

from usbwatch.compare.differences import VOLATILE, differences, node_differences
from usbwatch.model import Fact
from usbwatch.model.changes import FactChange

FACTS = st.dictionaries(st.text(max_size=6), st.one_of(st.text(max_size=6), st.integers(-3, 3)), max_size=6)


def plainly(before: dict[str, Fact], after: dict[str, Fact]) -> tuple[FactChange, ...]:
    """The same by looking at each key: the oracle."""
    return tuple(
        FactChange(field=f"facts.{name}", before=before.get(name), after=after.get(name))
        for name in sorted(before.keys() | after.keys())
        if before.get(name) != after.get(name)
    )


@pytest.mark.properties
@given(FACTS, FACTS)
def test_every_key_that_differs_is_told_and_no_other(before: dict[str, Fact], after: dict[str, Fact]) -> None:
    assert differences({"facts": before}, {"facts": after}) == plainly(before, after)


@pytest.mark.parametrize("name", ["__private", "a.b", "['x']", "", "root", "\n", "\udc80", "k" * 10_000])
def test_no_name_of_a_fact_is_passed_over(name: str) -> None:
    assert differences({"facts": {name: 1}}, {"facts": {name: "1"}}) == plainly({name: 1}, {name: "1"})


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_texts_are_told_as_they_are(text: str) -> None:
    assert differences({"a": text + "x"}, {"a": text}) == (FactChange(field="a", before=text + "x", after=text),)


def test_texts_of_many_lines_are_not_compared_line_by_line() -> None:
    first, second = ("\n".join(str(line * step % 211) for line in range(200_000)) for step in (1, 7))
    assert len(differences({"a": first}, {"a": second})) == 1


def test_a_whole_number_of_any_length_is_compared() -> None:
    assert len(differences({"a": 10**5000}, {"a": 10**5000 + 1})) == 1


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        pytest.param(
            "0011223344556677", "0011ff3344556677",
            ("8 bytes, from offset 2: 223344556677", "8 bytes, from offset 2: ff3344556677"), id="one byte",
        ),
        pytest.param("00112233", "0011", ("4 bytes, from offset 2: 2233", "2 bytes"), id="cut short"),
        pytest.param("0a", "0b", ("1 bytes, from offset 0: 0a", "1 bytes, from offset 0: 0b"), id="second digit"),
        pytest.param("00" * 512, None, ("512 bytes", None), id="gone"),
    ],
)  # fmt: skip
def test_bytes_are_told_by_where_they_part(before: str, after: str | None, told: tuple[str | None, str | None]) -> None:
    (change,) = differences({"raw": {"edid": before}}, {"raw": {"edid": after} if after else {}})
    assert (change.field, change.before, change.after) == ("raw.edid", *told)


def facts_told(before: dict[str, Fact], after: dict[str, Fact]) -> list[str]:
    return [change.field for change in node_differences(usb("5", "1209:0003", facts=before), usb("5", "", facts=after))]


@pytest.mark.parametrize(
    ("name", "before", "after"),
    [
        # Documentation/ABI/testing/sysfs-class-power
        ("voltage_now", 12_300_000, 11_800_000),
        ("current_now", 0, 1_200_000),
        ("power_now", 0, 9_000_000),
        ("energy_now", 40_000_000, 12_000_000),
        ("charge_now", 4_100_000, 900_000),
        ("capacity", 93, 21),
        ("status", "Not charging", "Discharging"),
        # Documentation/ABI/testing/sysfs-class-net
        ("carrier", 0, 1),
        ("operstate", "down", "up"),
        # IEEE 802: locally administered; made from the documentation range of RFC 7042
        ("address", "02:00:5e:00:53:01", "06:00:5e:00:53:02"),
        # Documentation/ABI/testing/sysfs-devices-power, and a USB port's state
        ("runtime_status", "active", "suspended"),
        ("state", "configured", "suspended"),
        ("enabled", "enabled", "disabled"),
        ("devnum", 3, 17),
    ],
)
def test_what_changes_by_itself_is_not_told(name: str, before: Fact, after: Fact) -> None:
    assert facts_told({name: before}, {name: after}) == ["identity"]
    assert facts_told({name: before}, {}) == ["identity"]


@pytest.mark.parametrize(
    ("name", "before", "after"),
    [
        ("cycle_count", 87, 141),
        ("charge_full", 4_390_000, 4_100_000),
        ("energy_full", 50_000_000, 44_000_000),
        ("present", 1, 0),
        ("over_current_count", 0, 2),
        ("speed_kbps", 480_000, 12_000),
        ("health", "Good", "Dead"),
        pytest.param("status", 31, 15, id="ACPI: the battery left its slot"),
        pytest.param("status", "connected", "disconnected", id="display connector"),
        pytest.param("status", "Full", "\x1b[2J", id="no battery's word"),
        pytest.param("state", "configured", "not attached", id="USB port"),
        pytest.param("address", "00:00:5e:00:53:01", "00:00:5e:00:53:02", id="another network part"),
        pytest.param("address", "00:00:5e:00:53:01", "02:00:5e:00:53:02", id="an address given by the maker is lost"),
    ],
)
def test_what_a_part_does_is_told(name: str, before: Fact, after: Fact) -> None:
    assert facts_told({name: before}, {name: after}) == ["identity", f"facts.{name}"]


def test_each_fact_left_out_has_its_reason() -> None:
    assert all(len(volatile.reason.split()) > 3 for volatile in VOLATILE.values())
    assert not VOLATILE.keys() & {"charge_full", "energy_full", "cycle_count", "over_current_count"}


def test_all_that_a_node_tells_of_itself_is_compared() -> None:
    changes = node_differences(usb("5", "1209:0003"), usb("5", "1209:0004", driver=""))
    assert [change.field for change in changes] == ["driver", "identity"]
