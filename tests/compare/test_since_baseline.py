"""A returning unit beside its baseline: which part is no longer the one fitted, and what the battery holds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from conftest import RealTree
from hypothesis import given
from hypothesis import strategies as st
from support.looking import look
from support.make_captures import SHIPPED
from support.returned import LARCH_13, PACK, REPAIRED, RETURNED, fitted, of, since, with_facts, with_node, without
from support.sysfs import Conditions, build
from support.tree.descriptors import edid
from support.units import LARCH, MOUSE

from usbwatch.capture import load
from usbwatch.compare import findings, serials
from usbwatch.model import Capture, Fact, Fitted, Profile, Wear
from usbwatch.model.changes import FactChange
from usbwatch.profile import find, shipped

DISK = "pci0000:00/06.0/nvme"
PANEL = "pci0000:00/02.0/drm/eDP-1"
CAMERA = "pci0000:00/14.0/usb2/5"


def told(facts: tuple[FactChange, ...]) -> dict[str, tuple[Fact | None, Fact | None]]:
    """What told of a part that it is another one."""
    return {fact.field: (fact.before, fact.after) for fact in facts}


def pack(capture: Capture, **facts: Fact | None) -> Capture:
    """The capture with other readings of its battery pack."""
    return with_facts(capture, "power_supply", PACK, facts)


# --- The story -------------------------------------------------------------------------


def test_the_returned_unit_has_another_pack_and_is_otherwise_what_it_was() -> None:
    found = since(REPAIRED, RETURNED)
    assert [one.device for one in found.not_as_fitted] == ["battery"]
    battery = of(found, "battery")
    assert battery.fitted is Fitted.ANOTHER
    assert told(battery.told_by) == {"battery serial number": ("LG-B001-DEMO", "LG-B104-DEMO")}
    assert found.others == ()
    assert (found.taken_at, found.days) == ("2026-03-06T15:40:00Z", 186)


def test_of_another_pack_only_what_it_holds_now_is_said() -> None:
    assert since(REPAIRED, RETURNED).wear == (
        Wear(device="battery", same=False, unit="mAh", design=4390, full_now=3246, cycles_now=312, days=186),
    )


def test_a_replaced_mainboard_shows_by_its_board_serial_number_and_the_unit_keeps_its_own() -> None:
    healthy = load(str(shipped("captures") / "larch-13-healthy.json"))
    found = since(healthy, REPAIRED)
    assert told(of(found, "board").told_by) == {"board serial number": ("LG-0001-DEMO", "LG-M002-DEMO")}
    assert of(found, "unit").fitted is Fitted.SAME
    assert [one.device for one in found.not_as_fitted] == ["board"]


def test_a_gauge_that_was_silent_at_the_baseline_leaves_open_which_pack_it_was() -> None:
    silent = load(str(shipped("captures") / "larch-13-after-top-case.json"))
    battery = of(since(silent, REPAIRED), "battery")
    assert (battery.fitted, battery.why) == (Fitted.UNTOLD, "a serial number was read only now")
    (wear,) = since(silent, REPAIRED).wear
    assert (wear.same, wear.full_then, wear.cycles_then) == (None, None, None)


def test_parts_with_serial_numbers_are_the_same_and_their_like_without_cannot_be_told() -> None:
    found = fitted(since(REPAIRED, RETURNED))
    numbered = {one.of for one in serials(RETURNED, findings(RETURNED, LARCH_13))}
    assert {device for device, answer in found.items() if answer is Fitted.SAME} == numbered - {"battery"}
    assert {answer for device, answer in found.items() if device not in numbered} == {Fitted.UNTOLD}


# --- Which part it is ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        pytest.param({"manufacturer": "Ostrey Cells"}, Fitted.ANOTHER, id="another maker"),
        pytest.param({"model_name": "LB-4C60"}, Fitted.ANOTHER, id="another device name"),
        pytest.param({"serial_number": "lg-b001-demo "}, Fitted.SAME, id="spelled otherwise"),
        pytest.param({"charge_full_design": 4_400_000}, Fitted.SAME, id="a design value told otherwise"),
    ],
)
def test_a_serial_number_names_a_pack_together_with_its_maker_and_device_name(
    facts: dict[str, Fact], expected: Fitted
) -> None:
    """Smart Battery Data Specification 1.1, SerialNumber(): unique only with ManufacturerName() and DeviceName().

    (Section 5.1, from memory; the date of manufacture, its third companion, the kernel's class does not have.)
    """
    assert of(since(REPAIRED, pack(REPAIRED, **facts)), "battery").fitted is expected


NO_SERIAL = pack(REPAIRED, serial_number="0000")


@pytest.mark.parametrize(
    ("facts", "expected", "fields"),
    [
        pytest.param({}, Fitted.UNTOLD, [], id="nothing differs"),
        pytest.param({"model_name": "LB-4C60"}, Fitted.ANOTHER, ["model"], id="model"),
        pytest.param({"charge_full_design": 5_000_000}, Fitted.ANOTHER, ["design capacity in mAh"], id="design"),
        pytest.param({"cycle_count": 12}, Fitted.PERHAPS_ANOTHER, ["cycle count"], id="fewer cycles"),
        pytest.param({"cycle_count": 88}, Fitted.UNTOLD, [], id="one cycle more"),
        pytest.param({"cycle_count": 0}, Fitted.UNTOLD, [], id="0 means: not available"),
        pytest.param({"cycle_count": -1}, Fitted.UNTOLD, [], id="-1 is the kernel's all ones: unknown"),
        pytest.param({"charge_full": 4_300_000}, Fitted.UNTOLD, [], id="a gauge that learnt a little more"),
        pytest.param({"charge_full": 3_000_000}, Fitted.UNTOLD, [], id="wear"),
    ],
)
def test_without_a_serial_number_names_and_readings_tell_what_they_can(
    facts: dict[str, Fact], expected: Fitted, fields: list[str]
) -> None:
    """ACPI 6.5 section 10.2.2.2, _BIX: the cycle count is the cycles experienced, so of one pack it never falls.

    Documentation/ABI/testing/sysfs-class-power: a count of 0 means that none is available.
    """
    battery = of(since(NO_SERIAL, pack(NO_SERIAL, **facts)), "battery")
    assert (battery.fitted, [one.field for one in battery.told_by]) == (expected, fields)


def test_a_worn_pack_that_holds_far_more_is_perhaps_another() -> None:
    """Common practice, no source: how far a gauge that learns anew can rise is not published."""
    worn = pack(NO_SERIAL, charge_full=2_600_000)
    battery = of(since(worn, pack(worn, charge_full=4_300_000)), "battery")
    assert battery.fitted is Fitted.PERHAPS_ANOTHER
    assert told(battery.told_by) == {"full capacity in mAh": (2600, 4300)}


def test_a_serial_number_outweighs_a_risen_capacity_but_not_a_fallen_count() -> None:
    worn = pack(REPAIRED, charge_full=2_600_000)
    assert of(since(worn, REPAIRED), "battery").fitted is Fitted.SAME
    battery = of(since(REPAIRED, pack(REPAIRED, cycle_count=3)), "battery")
    assert battery.fitted is Fitted.PERHAPS_ANOTHER
    assert battery.why.endswith("same serial number")


def test_milliampere_hours_are_not_compared_with_milliwatt_hours() -> None:
    """ACPI 6.5 table 10.4, power unit: 0 is mW and mWh, 1 is mA and mAh; firmware may change over."""
    facts: dict[str, Fact | None] = {"charge_full": None, "charge_full_design": None, "charge_now": None}
    in_energy = pack(NO_SERIAL, **facts, energy_full=46_000_000, energy_full_design=50_000_000)
    found = since(NO_SERIAL, in_energy)
    assert of(found, "battery").fitted is Fitted.UNTOLD
    (wear,) = found.wear
    assert (wear.unit, wear.full_now, wear.full_then) == ("mWh", 46_000, None)


def test_another_disk_is_told_by_its_serial_number() -> None:
    other = with_facts(REPAIRED, "nvme", DISK, {"serial": "LG-N009-DEMO"})
    disk = of(since(REPAIRED, other), "disk")
    assert (disk.fitted, told(disk.told_by)) == (
        Fitted.ANOTHER,
        {"disk serial number": ("LG-N001-DEMO", "LG-N009-DEMO")},
    )


def _edid(product: int = 0x1301, *, serial: int = 0, week: int = 12, year: int = 2025) -> str:
    """VESA E-EDID release A: serial number at 0Ch to 0Fh, week and year less 1990 of manufacture at 10h and 11h."""
    block = bytearray(edid("QFL", product, "Larch Panel"))
    block[12:18] = serial.to_bytes(4, "little") + bytes((week, year - 1990))
    block[127] = -sum(block[:127]) % 256
    return block.hex()


@pytest.mark.parametrize(
    ("before", "after", "expected", "field"),
    [
        pytest.param(_edid(), _edid(), Fitted.UNTOLD, "", id="without a serial number"),
        pytest.param(_edid(serial=4711), _edid(serial=4711), Fitted.SAME, "", id="the same serial number"),
        pytest.param(_edid(serial=4711), _edid(serial=4712), Fitted.ANOTHER, "EDID serial number", id="another"),
        pytest.param(_edid(), _edid(0x1302), Fitted.ANOTHER, "EDID maker and product code", id="product"),
        pytest.param(_edid(), _edid(week=40), Fitted.ANOTHER, "EDID date of manufacture", id="week"),
        pytest.param(_edid(), _edid(week=0xFF), Fitted.ANOTHER, "EDID date of manufacture", id="model year"),
    ],
)
def test_a_panel_is_told_by_its_edid(before: str, after: str, expected: Fitted, field: str) -> None:
    old, new = (with_node(REPAIRED, "drm", PANEL, raw={"edid": raw}) for raw in (before, after))
    panel = of(since(old, new), "panel")
    assert panel.fitted is expected
    assert [one.field for one in panel.told_by] == ([field] if field else [])


def test_a_network_address_is_a_hint_for_a_system_can_choose_one() -> None:
    old, new = (
        with_facts(REPAIRED, "net", "pci0000:00/19.0/net", {"address": f"00:4c:47:00:00:{end}"}) for end in ("01", "02")
    )
    assert of(since(old, new), "ethernet").fitted is Fitted.PERHAPS_ANOTHER
    assert of(since(old, old), "ethernet").fitted is Fitted.SAME


# --- What was not seen is not gone ------------------------------------------------------------


@pytest.mark.parametrize(
    ("tree", "gone"),
    [
        ("healthy", set()),
        ("external-devices", set()),
        ("keyboard-missing", {"keyboard"}),
        ("keyboard-touchpad-missing", {"keyboard", "touchpad"}),
        ("battery-not-present", {"battery"}),
        ("internal-hub-missing", {"internal-hub"}),
        ("touchpad-enumeration-failure", set()),
        ("battery-worn", set()),
    ],
)
def test_on_a_real_kernel_gone_is_what_was_taken_out_and_nothing_that_hangs_on_it(
    tree: str, gone: set[str], real_tree: RealTree
) -> None:
    """What is wrong in each snapshot: ``tests/data/trees/README.md``."""
    found = since(look(real_tree("healthy")), look(real_tree(tree)))
    assert {device for device, answer in fitted(found).items() if answer is Fitted.GONE} == gone
    back = fitted(since(look(real_tree(tree)), look(real_tree("healthy"))))
    assert {device for device, answer in back.items() if answer is Fitted.NEW} == gone


def test_helper_devices_in_the_sockets_are_no_change_of_a_real_unit(real_tree: RealTree) -> None:
    found = since(look(real_tree("healthy")), look(real_tree("external-devices")))
    assert not found.changes.none
    assert (found.not_as_fitted, found.others) == ((), ())


def test_a_real_kernels_pack_that_wore_is_the_same_pack_and_its_wear_is_told(real_tree: RealTree) -> None:
    found = since(look(real_tree("healthy")), look(real_tree("battery-worn")))
    assert of(found, "battery").fitted is Fitted.SAME
    (wear,) = found.wear
    facts = {
        tree: next(node.facts for node in look(real_tree(tree)).nodes if node.location == PACK)
        for tree in ("healthy", "battery-worn")
    }
    assert (wear.full_then, wear.full_now) == tuple(int(one["charge_full"]) // 1000 for one in facts.values())
    assert (wear.cycles_then, wear.cycles_now) == tuple(one["cycle_count"] for one in facts.values())
    assert wear.full_then is not None
    assert wear.full_now < wear.full_then


BUSES = sorted(one.bus for one in REPAIRED.coverage)
PROFILES = {"its own": LARCH_13, "generic": find("generic-clamshell")}


@pytest.mark.properties
@pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES)
@given(closed=st.sets(st.sampled_from(BUSES)))
def test_a_bus_that_was_closed_never_makes_a_part_gone_or_new(closed: set[str], profile: Profile) -> None:
    hidden = without(REPAIRED, *closed)
    for before, now in ((REPAIRED, hidden), (hidden, REPAIRED)):
        answers = fitted(since(before, now, profile))
        assert set(answers.values()) <= {Fitted.SAME, Fitted.UNTOLD}


def test_a_serial_number_that_only_root_reads_says_so() -> None:
    closed = without(RETURNED, "smbios")
    assert of(since(REPAIRED, closed), "board").why == "its serial number could not be read now: for root alone"
    assert of(since(closed, RETURNED), "board").why.endswith("at the baseline: for root alone")


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES)
def test_a_capture_beside_itself_shows_no_change_and_every_numbered_part_the_same(name: str, profile: Profile) -> None:
    capture = load(str(shipped("captures") / f"{name}.json"))
    found = since(capture, capture, profile)
    assert (found.changes.none, found.not_as_fitted, found.others, found.days) == (True, (), (), 0)
    numbered = {one.of for one in serials(capture, findings(capture, profile))}
    assert {device for device, answer in fitted(found).items() if answer is Fitted.SAME} == numbered & set(
        fitted(found)
    )
    assert all(one.same is not False and one.full_then == one.full_now for one in found.wear)


_MIRROR = {Fitted.GONE: Fitted.NEW, Fitted.NEW: Fitted.GONE}


@pytest.mark.parametrize("before", ["larch-13-healthy", "larch-13-repaired", "larch-13-returned"])
@pytest.mark.parametrize("now", ["larch-13-top-case-lost", "larch-13-after-top-case", "larch-13-returned"])
def test_the_other_way_round_the_answers_are_the_same_but_for_gone_and_new(before: str, now: str) -> None:
    first, second = (load(str(shipped("captures") / f"{name}.json")) for name in (before, now))
    there, back = fitted(since(first, second)), fitted(since(second, first))
    assert {device: _MIRROR.get(answer, answer) for device, answer in there.items()} == back


# --- The rest --------------------------------------------------------------------------------------


def test_what_else_changed_is_neither_helper_nor_what_the_parts_tell(tmp_path: Path) -> None:
    slow = Conditions(kernel="6.12.0", slow={"camera": 12}, sockets=(MOUSE,))
    now = look(build(LARCH, tmp_path / "unit", slow))
    before = load(str(shipped("captures") / "larch-13-healthy.json"))
    (other,) = since(before, now).others
    assert (other.node.location, "facts.speed_kbps" in {one.field for one in other.facts}) == (CAMERA, True)


def test_a_capture_without_a_day_gives_no_number_of_days() -> None:
    assert since(replace(REPAIRED, taken_at=""), RETURNED).days is None
    assert since(RETURNED, REPAIRED).days == -186
