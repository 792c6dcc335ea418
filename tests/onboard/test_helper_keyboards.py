"""Which keyboards are a technician's own: in a kernel's own tree, and in the invented units' trees."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from support.sysfs import Conditions
from support.units import FOREIGN_KEYBOARD, LARCH, STICK

from usbwatch.cli.taking import taken
from usbwatch.onboard.helper_keyboards import helper_keyboards
from usbwatch.onboard.judging import Case, judged_case, with_capture
from usbwatch.onboard.running import own_chains
from usbwatch.show import Seen

BuiltTree = Callable[..., Path]

LETTERS = "1000000000007 ff9f207ac14057ff febeffdfffefffff fffffffffffffffe"
"""``capabilities/key`` of a USB keyboard, as Linux prints it (a boot-protocol keyboard of 104 keys)."""
FEW = "10000 0 0 0"
ROOT = "sys/devices/pci0000:00/0000:00:14.0/usb1"


def node(root: Path, name: str, place: str, keys: str = LETTERS, **removable: str) -> None:
    """An input node below a place of sysfs; ``removable`` by the name of a device on the way (``d1_2`` for 1-2)."""
    folder = root / place / "input" / name
    (folder / "capabilities").mkdir(parents=True)
    (folder / "capabilities/key").write_text(f"{keys}\n")
    for device, told in removable.items():
        its = next(
            parent
            for parent in folder.parents
            if parent.name == device.removeprefix("d").replace("_", "-", 1).replace("_", ".")
        )
        (its / "removable").write_text(f"{told}\n")
    links = root / "sys/class/input"
    links.mkdir(parents=True, exist_ok=True)
    (links / name).symlink_to(os.path.relpath(folder, links))


def found(root: Path, *own: str) -> tuple[str, ...]:
    return helper_keyboards(own, str(root))


def test_a_keyboard_in_a_socket_is_a_helper(tmp_path: Path) -> None:
    node(tmp_path, "input7", f"{ROOT}/1-2/1-2:1.0/0003:1209:0007.0001", d1_2="removable")
    assert found(tmp_path) == ("input7",)
    assert found(tmp_path, "2") == ("input7",)  # whatever was taken for the unit's own


def test_the_unit_s_own_keyboard_is_none(tmp_path: Path) -> None:
    node(tmp_path, "input3", f"{ROOT}/1-4/1-4.1/1-4.1:1.0/0003:1209:0001.0001", d1_4="fixed", d1_4_1="fixed")
    assert found(tmp_path) == ()


def test_a_keyboard_of_which_firmware_says_nothing_is_a_helper_unless_it_was_found_to_be_the_unit_s(
    tmp_path: Path,
) -> None:
    node(tmp_path, "input3", f"{ROOT}/1-4/1-4.1/1-4.1:1.0/0003:1209:0001.0001", d1_4="unknown", d1_4_1="unknown")
    assert found(tmp_path) == ("input3",)
    assert found(tmp_path, "4.1") == ()


def test_a_dock_s_keyboard_is_a_helper_though_the_dock_calls_its_ports_fixed(tmp_path: Path) -> None:
    node(tmp_path, "input9", f"{ROOT}/1-2/1-2.3/1-2.3:1.0/0003:1209:0007.0001", d1_2="removable", d1_2_3="fixed")
    assert found(tmp_path) == ("input9",)


@pytest.mark.parametrize("unmapped", [False, True], ids=["firmware tells sockets", "firmware tells nothing"])
def test_a_helper_keyboard_is_never_taken_for_the_unit_s_own(unmapped: bool, built_tree: BuiltTree) -> None:
    """Also by a profile that knows no places, on a unit whose own keyboard is lost, with the very same ids."""
    conditions = Conditions(missing=("keyboard",), sockets=(STICK, FOREIGN_KEYBOARD), unmapped_ports=unmapped)
    seen = Seen(capture=taken(str(built_tree(LARCH, conditions)), None))
    case = judged_case(with_capture(Case(picked="generic-clamshell"), seen, "look-1"), None)
    (helper,) = [node for node in seen.capture.nodes if node.bus == "usb" and node.name == "Larch Internal Keyboard"]
    assert helper.location.rpartition("/")[2] not in own_chains(case)


def test_the_chains_of_the_unit_s_own_devices_are_known(built_tree: BuiltTree) -> None:
    seen = Seen(capture=taken(str(built_tree(LARCH)), None))
    assert {"4.1", "4.2"} <= own_chains(judged_case(with_capture(Case(), seen, "look-1"), None))


def test_what_is_not_on_usb_or_has_no_letters_is_none(tmp_path: Path) -> None:
    node(tmp_path, "input0", "sys/devices/platform/i8042/serio0")
    node(tmp_path, "input4", f"{ROOT}/1-2/1-2:1.0/0003:1209:0008.0001", keys=FEW, d1_2="removable")
    node(tmp_path, "input5", f"{ROOT}/1-3/1-3:1.0/0003:1209:0009.0001", keys="no number", d1_3="removable")
    assert found(tmp_path) == ()
    assert helper_keyboards((), str(tmp_path / "nowhere")) == ()
