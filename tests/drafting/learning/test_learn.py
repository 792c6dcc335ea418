"""What many captures of one model's units tell, each rule on a case that was built for it.

The truth of each case is what was done to the captures, and that of the real
trees stands in ``tests/data/trees/README.md``.
"""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import pytest
from conftest import BuiltTree, RealTree
from hypothesis import given, settings
from hypothesis import strategies as st
from support.any_capture import captures
from support.examples import costly
from support.fleets import at_place, blind, learnt_from, lost, moved, of_another_maker, places, source, unit, units
from support.looking import look
from support.sysfs import Conditions
from support.units import FOREIGN_KEYBOARD, HERON, LARCH, MOUSE, PLOVER, STICK

from usbwatch.capture import load
from usbwatch.compare import findings
from usbwatch.drafting import LAYOUTS, census, draft_of_many, text_of
from usbwatch.drafting.learning import Learnt, OutlierKind, Standing, learn
from usbwatch.drafting.learning.words import basis_words, called, difference_words, outlier_words, standing_words
from usbwatch.model import Capture, Rung, Verdict
from usbwatch.profile import parse, shipped

HUB = "pci0000:00/14.0/usb2/4"
KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD = (f"{HUB}.{port}" for port in (1, 2, 3, 4))
CAMERA, BLUETOOTH = "pci0000:00/14.0/usb2/5", "pci0000:00/14.0/usb2/6"
UNUSED = "pci0000:00/14.0/usb2/7"


@cache
def shown(name: str) -> Capture:
    return load(str(shipped("captures") / f"{name}.json"))


def residents(capture: Capture) -> set[str]:
    return {one.node.location for one in census(capture).residents}


def named(learnt: Learnt, kind: OutlierKind) -> dict[str, str]:
    return {one.name: "; ".join(one.reasons) for one in learnt.outliers if one.kind is kind}


@pytest.mark.parametrize("name", ["larch-13-healthy", "heron-14-healthy", "plover-12-healthy"])
@pytest.mark.parametrize("count", [1, 3, 20])
def test_units_that_are_all_alike_have_what_one_of_them_has(name: str, count: int) -> None:
    learnt = learnt_from(units(shown(name), count))
    assert places(learnt) == residents(shown(name))
    assert (learnt.captures, learnt.units) == (count, count)
    assert all((one.support.there, one.support.of) == (count, count) for one in learnt.devices)
    assert (learnt.outliers, learnt.variants, learnt.differences) == ((), (), ())


@pytest.mark.parametrize("laptop", [LARCH, HERON, PLOVER])
def test_a_helper_in_a_socket_never_becomes_a_device(built_tree: BuiltTree, laptop: object) -> None:
    """Not even when it is left in every single time, and not when it is what the unit has inside."""
    for helper in (MOUSE, FOREIGN_KEYBOARD, STICK):
        helped = look(built_tree(laptop, Conditions(sockets=(replace(helper, port="1"),))))
        learnt = learnt_from(units(helped, 5))
        assert places(learnt) == residents(look(built_tree(laptop)))
        assert len(learnt.devices) == len(places(learnt))
        assert set(named(learnt, OutlierKind.HELPER)) == {f"LG-{number:04d}-DEMO.json" for number in range(1, 6)}


def test_a_gauge_that_does_not_talk_is_named_and_no_evidence() -> None:
    """After the top case was replaced the pack's connector was left half out (tests/support/make_captures)."""
    mute, whole = shown("larch-13-after-top-case"), shown("larch-13-healthy")
    learnt = learnt_from([unit(mute, 1), *units(whole, 3, first=2)])
    (told,) = named(learnt, OutlierKind.NOT_HEALTHY).items()
    assert told[0] == "LG-0001-DEMO.json"
    assert "gauge does not talk" in told[1]
    support = at_place(learnt, "acpi/_SB_.BAT0").support
    assert (support.there, support.of, support.unwell) == (3, 3, 1)
    alone = at_place(learnt_from([mute]), "acpi/_SB_.BAT0").support
    assert (alone.there, alone.of, alone.unwell) == (0, 0, 1)
    of_one_unit = at_place(learnt_from([unit(mute, 1), unit(whole, 1)]), "acpi/_SB_.BAT0").support
    assert (of_one_unit.there, of_one_unit.of, of_one_unit.unwell) == (1, 1, 0)


@pytest.mark.parametrize(("count", "says"), [(1, "One unit tells nothing"), (3, "3 units tell little"), (5, "")])
def test_few_units_are_called_few_and_get_no_probability(count: int, says: str) -> None:
    """With one unit, 0.97 would be what was believed before any capture, and 0.21 to 1.00 what was counted."""
    learnt = learnt_from(units(shown("larch-13-healthy"), count))
    told_first = basis_words(learnt.captures, learnt.units)
    assert told_first.startswith(says)
    assert bool(told_first) is bool(says)
    told = [standing_words(one) for one in learnt.devices]
    assert all(("probability" in one and "95 %" in one) is (not says) for one in told)
    assert not any("1 units" in one for one in told)


def test_several_captures_of_one_unit_read_as_one_unit() -> None:
    one = unit(shown("larch-13-healthy"), 1)
    learnt = learnt_from([one, replace(one, taken_at="2026-04-02T08:00:00Z")])
    assert (learnt.captures, learnt.units) == (2, 1)
    assert "these 2 captures are of 1 unit" in basis_words(learnt.captures, learnt.units)
    assert "from 2 captures of 1 unit, " in draft_of_many(learnt, LAYOUTS["clamshell"]).source


def test_a_file_named_twice_is_not_called_the_same_as_itself() -> None:
    twice = source(shown("larch-13-healthy"), "a.json")
    assert named(learn([twice, twice]), OutlierKind.TWICE) == {
        "a.json": "this file was named more than once, and counts once"
    }


def test_a_device_that_stopped_part_way_is_not_what_a_healthy_one_reaches() -> None:
    whole = shown("larch-13-healthy")
    nodes = tuple(
        replace(one, rung=Rung.CONFIGURED) if (one.bus, one.location) == ("usb", CAMERA) else one for one in whole.nodes
    )
    stopped = replace(whole, nodes=nodes)
    learnt = learnt_from([unit(stopped, 1), unit(whole, 2)])
    camera = at_place(learnt, CAMERA)
    assert (camera.reaches, camera.support.there, camera.support.unwell) == (Rung.WORKING, 1, 1)
    assert "Camera" in named(learnt, OutlierKind.NOT_HEALTHY)["LG-0001-DEMO.json"]
    alone = at_place(learnt_from([stopped]), CAMERA)
    assert alone.reaches is Rung.CONFIGURED
    assert "got no further than configured" in alone.doubt


def test_a_hardwired_port_that_is_empty_in_every_capture_is_told(real_tree: RealTree) -> None:
    """The truth: the keyboard was taken out of this real tree, and firmware calls its port hardwired."""
    learnt = learnt_from(units(look(real_tree("keyboard-missing")), 3))
    assert [(one.text, one.units) for one in learnt.empty_ports] == [(KEYBOARD, 3)]
    assert "nothing shows that it is there" in at_place(learnt, "platform/i8042/kbd").doubt
    assert f"{KEYBOARD} (USB port table" in text_of(draft_of_many(learnt, LAYOUTS["clamshell"]))
    one, whole = unit(look(real_tree("keyboard-missing")), 1), look(real_tree("healthy"))
    of_all = learnt_from([one, *units(whole, 9, 2)])
    assert of_all.empty_ports == ()
    assert set(named(of_all, OutlierKind.NOT_HEALTHY)) == {"LG-0001-DEMO.json"}


def test_one_unit_of_many_that_lacks_a_device_is_not_healthy() -> None:
    whole = shown("larch-13-healthy")
    learnt = learnt_from([*units(whole, 19), unit(lost(whole, KEYBOARD, TOUCHPAD), 20)])
    assert places(learnt) == residents(whole)
    (reasons,) = named(learnt, OutlierKind.NOT_HEALTHY).values()
    assert f"Keyboard at {KEYBOARD} is not there" in reasons
    assert f"Touchpad at {TOUCHPAD} is not there" in reasons
    support = at_place(learnt, KEYBOARD).support
    assert (support.there, support.of) == (19, 20)
    assert 0 < support.low < 19 / 20 < support.high < 1


def test_three_units_are_enough_to_tell_a_lost_keyboard_from_an_optional_one() -> None:
    whole = shown("larch-13-healthy")
    learnt = learnt_from([*units(whole, 2), unit(lost(whole, KEYBOARD), 20)])
    assert at_place(learnt, KEYBOARD).standing is Standing.MANDATORY
    assert set(named(learnt, OutlierKind.NOT_HEALTHY)) == {"LG-0020-DEMO.json"}


def test_what_hangs_on_a_lost_hub_was_not_seen_and_is_not_blamed() -> None:
    whole = shown("larch-13-healthy")
    learnt = learnt_from([*units(whole, 19), unit(lost(whole, HUB), 20)])
    support = at_place(learnt, KEYBOARD).support
    assert (support.there, support.of, support.unseen) == (19, 19, 1)
    assert named(learnt, OutlierKind.NOT_HEALTHY) == {
        "LG-0020-DEMO.json": f"Internal hub at {HUB} is not there; 19 units have it"
    }


def test_a_sku_tells_which_units_have_a_fingerprint_reader() -> None:
    whole = shown("larch-13-healthy")
    basic = units(lost(whole, FINGERPRINT, SMART_CARD), 5, product_sku="L13-4-128")
    learnt = learnt_from([*basic, *units(whole, 5, first=10)])
    assert places(learnt, Standing.VARIANT) == {FINGERPRINT, SMART_CARD}
    assert at_place(learnt, FINGERPRINT).told_by == "product_sku"
    assert at_place(learnt, FINGERPRINT).values == ("L13-8-256",)
    assert at_place(learnt, FINGERPRINT).support.of == 5
    lacks = {one.match["product_sku"]: len(one.without) for one in learnt.variants}
    assert lacks == {("L13-4-128",): 2, ("L13-8-256",): 0}
    assert not learnt.outliers


def test_a_faulty_unit_of_a_variant_is_found() -> None:
    """It lacks what its own SKU should have; that others lack it too excuses nothing."""
    whole = shown("larch-13-healthy")
    basic = units(lost(whole, FINGERPRINT), 20, product_sku="L13-4-128")
    learnt = learnt_from([*basic, *units(whole, 20, first=30), unit(lost(whole, FINGERPRINT), 60)])
    assert places(learnt, Standing.VARIANT) == {FINGERPRINT}
    assert set(named(learnt, OutlierKind.NOT_HEALTHY)) == {"LG-0060-DEMO.json"}


def test_optional_devices_that_no_string_tells_go_together() -> None:
    whole = shown("larch-13-healthy")
    bare = lost(whole, FINGERPRINT, BLUETOOTH)
    mixed = [unit(bare if number % 3 == 0 else whole, number) for number in range(1, 25)]
    learnt = learnt_from(mixed)
    assert places(learnt, Standing.OPTIONAL) == {FINGERPRINT, BLUETOOTH}
    number = {one.places[0].text: index for index, one in enumerate(learnt.devices)}
    assert at_place(learnt, BLUETOOTH).goes_with == (number[FINGERPRINT],)
    assert not learnt.variants
    assert not named(learnt, OutlierKind.NOT_HEALTHY)


def test_the_same_place_and_function_with_another_identity_is_a_second_source() -> None:
    whole = shown("larch-13-healthy")
    other = of_another_maker(whole, CAMERA, "1209:000b")
    learnt = learnt_from([*units(whole, 6), *units(other, 4, first=10)])
    camera = at_place(learnt, CAMERA)
    assert [(one.text, one.units) for one in camera.identities] == [("1209:0003", 6), ("1209:000b", 4)]
    assert camera.standing is Standing.MANDATORY


def test_a_port_that_a_board_revision_moved_is_another_place() -> None:
    whole = shown("larch-13-healthy")
    later = moved(whole, CAMERA, UNUSED)
    learnt = learnt_from([*units(whole, 6), *units(later, 4, first=10, board_version="C1")])
    camera = at_place(learnt, CAMERA)
    assert [(one.text, one.units, one.told_by, one.values) for one in camera.places] == [
        (CAMERA, 6, "board_version", ("B2",)),
        (UNUSED, 4, "board_version", ("C1",)),
    ]
    assert (camera.standing, camera.support.there) == (Standing.MANDATORY, 10)


def test_two_at_once_are_two_devices() -> None:
    """The rear camera of the Plover as a second one of the same make."""
    front, rear = CAMERA, BLUETOOTH
    whole = of_another_maker(shown("plover-12-healthy"), rear, "1209:000c")
    learnt = learnt_from(units(whole, 6))
    assert at_place(learnt, front) is not at_place(learnt, rear)


def test_what_a_kernel_lacks_is_a_difference_of_versions(built_tree: BuiltTree) -> None:
    """The touchpad of the Heron without its driver: firmware's word alone, which says neither yes nor no."""
    touchpad = "acpi/_SB_.PCI0.I2C0.TPD0"
    whole = look(built_tree(HERON))
    old = look(built_tree(HERON, Conditions(kernel="5.15.0", undriven=("touchpad",), unloaded=("i2c_hid_acpi",))))
    learnt = learnt_from([*units(whole, 6), *units(old, 4, first=10)])
    assert at_place(learnt, touchpad).standing is Standing.MANDATORY
    support = at_place(learnt, touchpad).support
    assert (support.there, support.of, support.unseen) == (6, 6, 4)


def test_a_usb_device_without_a_driver_is_a_difference_of_versions(built_tree: BuiltTree) -> None:
    whole = look(built_tree(LARCH))
    old = look(built_tree(LARCH, Conditions(kernel="5.15.0", undriven=("camera",), unloaded=("uvcvideo",))))
    learnt = learnt_from([*units(whole, 8), *units(old, 8, first=10)])
    camera = at_place(learnt, CAMERA)
    assert (camera.standing, camera.reaches) == (Standing.MANDATORY, Rung.WORKING)
    told = {(one.what, one.by) for one in learnt.differences}
    assert {("rung", "kernel"), ("driver", "kernel")} <= told
    words = " ".join(difference_words(one, learnt.devices) for one in learnt.differences)
    assert "kernel 5.15: configured (8); kernel 6.1: working (8)" in words
    assert not named(learnt, OutlierKind.NOT_HEALTHY)


def test_an_object_that_firmware_names_anew_is_told_by_its_version() -> None:
    whole = shown("larch-13-healthy")
    renamed = replace(
        whole,
        nodes=tuple(
            replace(node, location=node.location.replace("LID0", "LID9"), facts={**node.facts, "physical": ""})
            if "LID0" in node.location
            else node
            for node in whole.nodes
        ),
    )
    learnt = learnt_from([*units(whole, 6), *units(renamed, 4, first=10, bios_version="FL1.09")])
    lid = at_place(learnt, "acpi/_SB_.LID0")
    assert {one.text: one.values for one in lid.places} == {
        "acpi/_SB_.LID0": ("FL1.07",),
        "acpi/_SB_.LID9": ("FL1.09",),
    }
    assert ("place", "bios_version") in {(one.what, one.by) for one in learnt.differences}


def test_a_slow_camera_is_named_and_the_profile_asks_for_the_healthy_speed(built_tree: BuiltTree) -> None:
    whole = look(built_tree(LARCH))
    slow = look(built_tree(LARCH, Conditions(slow={"camera": 12})))
    learnt = learnt_from([*units(whole, 9), unit(slow, 20)])
    assert at_place(learnt, CAMERA).speed_mbps == 480
    (reasons,) = named(learnt, OutlierKind.NOT_HEALTHY).values()
    assert f"Camera at {CAMERA} runs at 12 Mbit/s of 480" in reasons


def test_where_firmware_says_nothing_of_ports_a_rare_device_is_taken_for_a_helper(built_tree: BuiltTree) -> None:
    bare = look(built_tree(LARCH, Conditions(unmapped_ports=True)))
    helped = look(built_tree(LARCH, Conditions(unmapped_ports=True, sockets=(MOUSE,))))
    learnt = learnt_from([*units(bare, 9), unit(helped, 20)])
    assert places(learnt) == residents(bare)
    assert len(learnt.devices) == len(places(learnt))
    assert set(named(learnt, OutlierKind.HELPER)) == {"LG-0020-DEMO.json"}
    assert not at_place(learnt, CAMERA).inside


def test_a_helper_that_stands_now_here_now_there_is_none_of_the_units(built_tree: BuiltTree) -> None:
    """A bench's own stick, in every capture, in whichever socket was free."""
    helped = [
        look(built_tree(LARCH, Conditions(unmapped_ports=True, sockets=(replace(MOUSE, port=port),))))
        for port in ("1", "2")
    ]
    learnt = learnt_from(unit(helped[number % 2], number) for number in range(12))
    assert all(one.function != "mouse" for one in learnt.devices)
    assert len(named(learnt, OutlierKind.HELPER)) == 12


def test_where_some_systems_know_the_sockets_the_others_are_believed_no_more(built_tree: BuiltTree) -> None:
    knowing = look(built_tree(LARCH))
    helped = look(built_tree(LARCH, Conditions(unmapped_ports=True, sockets=(MOUSE,))))
    learnt = learnt_from([*units(knowing, 5), *units(helped, 5, first=10)])
    assert all(one.function != "mouse" for one in learnt.devices)
    assert at_place(learnt, CAMERA).inside


REAL = ("healthy", "external-devices", "camera-full-speed", "keyboard-missing", "battery-not-present")


def test_real_trees_of_healthy_and_faulty_units(real_tree: RealTree) -> None:
    """Twelve healthy units, one with helpers, three with faults, all of a real kernel's snapshots."""
    seen = {name: look(real_tree(name)) for name in REAL}
    fleet = units(seen["healthy"], 12) + [unit(seen[name], 20 + number) for number, name in enumerate(REAL[1:])]
    learnt = learnt_from(fleet)
    assert places(learnt) == residents(seen["healthy"])
    assert len(learnt.devices) == len(places(learnt))
    assert set(named(learnt, OutlierKind.HELPER)) == {"LG-0020-DEMO.json"}
    faulty = named(learnt, OutlierKind.NOT_HEALTHY)
    assert set(faulty) == {"LG-0021-DEMO.json", "LG-0022-DEMO.json", "LG-0023-DEMO.json"}
    assert f"Camera at {CAMERA} runs at 12 Mbit/s of 480" in faulty["LG-0021-DEMO.json"]
    assert f"Keyboard at {KEYBOARD} is not there" in faulty["LG-0022-DEMO.json"]
    assert "Battery at acpi/_SB_.BAT0 is not there" in faulty["LG-0023-DEMO.json"]


def test_a_learnt_profile_judges_real_faults_right(real_tree: RealTree) -> None:
    learnt = learnt_from(units(look(real_tree("healthy")), 6))
    profile = parse(text_of(draft_of_many(learnt, LAYOUTS["clamshell"])), "learnt")
    lost_in = {
        "healthy": set(),
        "external-devices": set(),
        "keyboard-missing": {KEYBOARD},
        "keyboard-touchpad-missing": {KEYBOARD, TOUCHPAD},
        "battery-not-present": {"acpi/_SB_.BAT0"},
    }
    for name, gone in lost_in.items():
        found = findings(look(real_tree(name)), profile, insisted=True).findings
        missing = {one.device for one in found if one.verdict is Verdict.MISSING}
        assert missing == {one.id for one in profile.devices if set(one.locations) & gone}, name


def test_a_capture_of_another_model_is_named_and_left_out() -> None:
    whole = shown("larch-13-healthy")
    alone = learnt_from(units(whole, 4))
    mixed = learnt_from([*units(whole, 4), unit(shown("heron-14-healthy"), 9)])
    assert mixed.devices == alone.devices
    ((name, why),) = named(mixed, OutlierKind.OTHER_MODEL).items()
    assert name == "LG-0009-DEMO.json"
    assert "calls itself Brackwell Heron 14" in why


def test_another_name_for_the_same_model_is_counted() -> None:
    whole = shown("larch-13-healthy")
    learnt = learnt_from([*units(whole, 4), unit(whole, 9, product_name="Larch 13 B")])
    assert learnt.captures == 5
    assert learnt.strings["product_name"] == (("Larch 13", 4), ("Larch 13 B", 1))
    profile = parse(text_of(draft_of_many(learnt, LAYOUTS["clamshell"])), "learnt")
    assert profile.match.strings["product_name"] == ("Larch 13", "Larch 13 B")


def test_the_same_capture_counts_once() -> None:
    one = source(shown("larch-13-healthy"), "a.json")
    learnt = learn([one, replace(one, name="b.json"), replace(one, name="c.json")])
    assert learnt.captures == 1
    assert named(learnt, OutlierKind.TWICE) == {
        "b.json": "it is the same capture as a.json",
        "c.json": "it is the same capture as a.json",
    }


def test_several_captures_of_one_unit_are_one_unit() -> None:
    """Before and after its repair: what it has at last, it is meant to have."""
    broken, whole = shown("larch-13-top-case-lost"), shown("larch-13-healthy")
    learnt = learnt_from(
        [unit(broken, 1), replace(unit(whole, 1), taken_at="2026-03-09T08:00:00Z"), *units(whole, 3, 5)]
    )
    assert (learnt.captures, learnt.units) == (5, 4)
    support = at_place(learnt, KEYBOARD).support
    assert (support.there, support.of) == (4, 4)


def test_a_serial_number_that_nobody_filled_in_makes_no_one_unit() -> None:
    whole = shown("larch-13-healthy")
    for text in ("To Be Filled By O.E.M.", "Default string", "0000000", "None", ""):
        blank = [replace(one, unit=replace(one.unit, product_serial=text)) for one in units(whole, 4)]
        assert learnt_from(blank).units == 4


def test_nothing_is_learnt_from_nothing() -> None:
    assert learn([]).captures == 0
    empty = replace(shown("larch-13-healthy"), nodes=())
    learnt = learnt_from([empty])
    assert (learnt.captures, learnt.devices) == (0, ())
    assert list(named(learnt, OutlierKind.NOTHING_TO_LEARN).values()) == ["it shows no device"]


def test_strings_of_a_hundred_kilobytes_do_not_get_through() -> None:
    whole = shown("larch-13-healthy")
    long = "\x1b[2J\u202e" + "x" * 100_000
    nodes = tuple(replace(node, name=long, driver=long and node.driver) for node in whole.nodes)
    hostile = replace(whole, nodes=nodes, unit=replace(whole.unit, product_sku=long, board_version=long))
    learnt = learnt_from([*units(whole, 3), *units(hostile, 3, first=10)])
    assert places(learnt) == residents(whole)
    text = text_of(draft_of_many(learnt, LAYOUTS["clamshell"]))
    assert "\x1b" not in text
    assert len(text) < 100_000
    parse(text, "learnt")


@pytest.mark.properties
@settings(max_examples=costly(8), deadline=None)
@given(st.randoms(use_true_random=False), st.integers(2, 12))
def test_the_order_of_captures_changes_nothing(rng: random.Random, count: int) -> None:
    whole = shown("larch-13-healthy")
    kinds = (
        whole,
        lost(whole, FINGERPRINT),
        moved(whole, CAMERA, UNUSED),
        of_another_maker(whole, TOUCHPAD, "1209:000e"),
        blind(whole, "drm"),
        shown("heron-14-healthy"),
    )
    fleet = [unit(rng.choice(kinds), rng.randrange(9), board_version=rng.choice("BC")) for _ in range(count)]
    named_ones = [source(one, f"{number}.json") for number, one in enumerate(fleet)]
    mixed = list(named_ones)
    rng.shuffle(mixed)
    assert learn(mixed) == learn(named_ones)


BUSES = ("drm", "usb", "pci", "acpi", "i2c", "serio", "input", "power_supply")


@pytest.mark.properties
@settings(max_examples=costly(12), deadline=None)
@given(st.sampled_from(["larch-13-healthy", "heron-14-healthy", "plover-12-healthy"]), st.sampled_from(BUSES),
       st.integers(1, 6))  # fmt: skip
def test_a_capture_that_could_not_see_a_bus_makes_nothing_optional(name: str, bus: str, count: int) -> None:
    whole = shown(name)
    learnt = learnt_from([*units(whole, 6), *units(blind(whole, bus), count, first=20)])
    assert places(learnt) >= residents(whole)
    assert not places(learnt, Standing.OPTIONAL) | places(learnt, Standing.VARIANT)


@pytest.mark.properties
@given(st.lists(captures(), max_size=4))
def test_whatever_captures_hold_something_is_said_and_a_profile_is_sound(hostile: list[Capture]) -> None:
    learnt = learnt_from([*hostile, *units(shown("plover-12-healthy"), 2)])
    words = [*map(outlier_words, learnt.outliers), *map(called, learnt.devices), *map(standing_words, learnt.devices)]
    assert all(words)
    for layout in LAYOUTS.values():
        parse(text_of(draft_of_many(learnt, layout)), "learnt")


FACTS = ("speed_kbps", "current_link_width", "current_link_speed", "lid", "physical", "class", "connect_type", "status")


@pytest.mark.properties
@given(st.data())
def test_a_unit_with_strange_nodes_spoils_no_profile(data: st.DataObject) -> None:
    """Any text in place of any string of a real capture's nodes."""
    whole = shown("larch-13-healthy")
    texts = st.text(max_size=8) | st.sampled_from(["\x00", "a" * 5000, "1209:0001", "[device.x]", '"""', "é\n"])
    strange = []
    for number in range(data.draw(st.integers(1, 3))):
        nodes = list(whole.nodes)
        for index in data.draw(st.lists(st.integers(0, len(nodes) - 1), max_size=8, unique=True)):
            old, text = nodes[index], data.draw(texts)
            facts = data.draw(st.dictionaries(st.sampled_from(FACTS), texts | st.integers(-9, 2**40), max_size=3))
            spoilt = (
                replace(old, identity=text),
                replace(old, name=text),
                replace(old, driver=text),
                replace(old, location=f"{old.location}{text}{index}"),
                replace(old, facts={**old.facts, **facts}),
                replace(old, rung=data.draw(st.sampled_from(Rung))),
            )
            nodes[index] = data.draw(st.sampled_from(spoilt))
        sku = data.draw(texts)
        strange.append(unit(replace(whole, nodes=tuple(nodes)), number, product_sku=sku))
    learnt = learnt_from([*units(whole, 2, first=50), *strange])
    parse(text_of(draft_of_many(learnt, LAYOUTS["clamshell"])), "learnt")


def test_a_hub_that_a_variant_lacks_takes_what_hangs_on_it_along() -> None:
    whole = shown("larch-13-healthy")
    learnt = learnt_from([*units(whole, 6), *units(lost(whole, HUB), 6, first=10, product_sku="L13-4-128")])
    assert places(learnt, Standing.VARIANT) == {HUB, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD}
    assert {one.match["product_sku"]: len(one.without) for one in learnt.variants}[("L13-4-128",)] == 5
    assert not learnt.outliers


def test_a_hub_that_a_board_revision_moved_takes_what_hangs_on_it_along() -> None:
    whole = shown("larch-13-healthy")
    later = moved(whole, HUB, UNUSED)
    learnt = learnt_from([*units(whole, 6), *units(later, 6, first=10, board_version="C1")])
    for place in (HUB, KEYBOARD, TOUCHPAD, FINGERPRINT, SMART_CARD):
        device = at_place(learnt, place)
        assert device.standing is Standing.MANDATORY
        assert {one.text for one in device.places} == {place, place.replace(HUB, UNUSED)}
    assert not learnt.outliers


def test_a_keyboard_lost_behind_a_moved_hub_is_missed() -> None:
    whole = shown("larch-13-healthy")
    later = moved(whole, HUB, UNUSED)
    faulty = lost(later, f"{UNUSED}.1")
    fleet = [*units(whole, 10), *units(later, 10, first=20, board_version="C1")]
    learnt = learnt_from([*fleet, unit(faulty, 40, board_version="C1")])
    assert at_place(learnt, KEYBOARD).standing is Standing.MANDATORY
    (reasons,) = named(learnt, OutlierKind.NOT_HEALTHY).values()
    assert "Keyboard" in reasons
