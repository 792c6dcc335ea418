from __future__ import annotations

import pytest
from support import usb_ids

from usbwatch.capture.decode import usb_classes
from usbwatch.model import FUNCTIONS

# usb.ids lists one code that a maker took for itself; the USB-IF has not given it out.
TAKEN_BY_A_MAKER = {0x58}
# Given out lately: lists older than 2025 may not have them yet.
LATELY = {0x13, 0x14, 0x3C}
# usb.ids prints "MCTCP over USB"; the protocol is MCTP (Management Component Transport Protocol; from memory).
MISPRINTS = {0x14: "MCTCP over USB"}


def test_the_base_classes_are_those_of_usb_ids() -> None:
    listed = {code[0] for code in usb_ids.classes() if len(code) == 1} - TAKEN_BY_A_MAKER
    assert set(usb_classes.BASE_CLASSES) - LATELY <= listed <= set(usb_classes.BASE_CLASSES)


@pytest.mark.parametrize("code", sorted(usb_classes.BASE_CLASSES), ids=lambda code: f"{code:02x}")
def test_a_class_has_the_name_that_usb_ids_gives(code: int) -> None:
    listed = usb_ids.classes().get((code,))
    if listed is None:
        assert code in LATELY
    else:
        assert MISPRINTS.get(code, usb_classes.class_name(code)).strip("()") == listed.strip("()")


def test_a_code_that_nobody_gave_out_has_no_name() -> None:
    assert usb_classes.class_name(0x04) == ""


# Where used: the class code page of the USB-IF, as read in a reproduction.
@pytest.mark.parametrize(
    ("where", "codes"),
    [
        ("device", {0x00, 0x09, 0x11}),
        ("both", {0x02, 0xDC, 0xEF, 0xFF}),
    ],
)
def test_where_a_class_is_used(where: str, codes: set[int]) -> None:
    assert {code for code, known in usb_classes.BASE_CLASSES.items() if known.where == where} == codes


# The codes come from usb.ids, by the names there.
@pytest.mark.parametrize(
    ("names", "functions"),
    [
        (("Human Interface Device", "Boot Interface Subclass", "Keyboard"), ("keyboard",)),
        (("Human Interface Device", "Boot Interface Subclass", "Mouse"), ("mouse", "pointing-device")),
        (("Human Interface Device", "Boot Interface Subclass", "None"), ()),
        (("Human Interface Device", "No Subclass", "None"), ()),
        (("Wireless", "Radio Frequency", "Bluetooth"), ("bluetooth",)),
        (("Wireless", "Radio Frequency", "RNDIS"), ()),
        (("Mass Storage", "SCSI", "Bulk-Only"), ("storage",)),
        (("Hub", "Unused", "Full speed (or root) hub"), ("hub",)),
        (("Hub", "Unused", "TT per port"), ("hub",)),
        (("Communications", "Abstract (modem)", "AT-commands (v.25ter)"), ()),
        (("Communications", "Ethernet Emulation", "Ethernet Emulation (EEM)"), ("ethernet",)),
    ],
    ids="/".join,
)
def test_functions_of_a_triple(names: tuple[str, ...], functions: tuple[str, ...]) -> None:
    assert usb_classes.functions_of(*usb_ids.class_codes(*names)) == functions


@pytest.mark.parametrize(
    ("names", "functions"),
    [
        (("Audio",), ("audio",)),
        (("Audio", "Streaming"), ("audio",)),
        (("Chip/SmartCard",), ("smart-card-reader",)),
        (("Video",), ("camera",)),
        (("Video", "Video Control"), ("camera",)),
        (("Video", "Video Streaming"), ("camera",)),
        (("Communications", "Ethernet Networking"), ("ethernet",)),
        (("(Defined at Interface level)",), ()),
        (("Imaging",), ()),
        (("Printer",), ()),
        (("CDC Data",), ()),
        (("Miscellaneous Device",), ()),
        (("Application Specific Interface", "Device Firmware Update"), ()),
        (("Vendor Specific Class",), ()),
    ],
    ids="/".join,
)
def test_functions_of_a_class_whatever_its_protocol(names: tuple[str, ...], functions: tuple[str, ...]) -> None:
    codes = usb_ids.class_codes(*names)
    base_class, subclass = (*codes, 0x00)[:2]
    assert {usb_classes.functions_of(base_class, subclass, protocol) for protocol in range(256)} == {functions}


# include/uapi/linux/usb/cdc.h: USB_CDC_SUBCLASS_NCM, USB_CDC_SUBCLASS_MBIM.
@pytest.mark.parametrize(("subclass", "functions"), [(0x0D, ("ethernet",)), (0x0E, ("wwan",))], ids=["ncm", "mbim"])
def test_functions_of_network_subclasses_that_usb_ids_lacks(subclass: int, functions: tuple[str, ...]) -> None:
    assert usb_classes.functions_of(0x02, subclass, 0x00) == functions


def test_every_function_is_of_the_vocabulary_and_sorted() -> None:
    for base_class in range(256):
        for subclass in range(256):
            for protocol in (0x00, 0x01, 0x02, 0xFF):
                functions = usb_classes.functions_of(base_class, subclass, protocol)
                assert set(functions) <= set(FUNCTIONS)
                assert list(functions) == sorted(set(functions))
