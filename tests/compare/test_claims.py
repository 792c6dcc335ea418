"""What a capture could not say for want of rights, told claim by claim.

For root alone: drivers/firmware/dmi-id.c (serial numbers), dmi_scan.c (the SMBIOS table),
Documentation/admin-guide/sysctl/kernel.rst (``dmesg_restrict``). That root makes the claims is shown on a real kernel
in ``tests/virtual``.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from conftest import BuiltTree
from support.looking import look
from support.sysfs import Conditions
from support.units import LARCH

from usbwatch.compare import findings
from usbwatch.model import Capture, Claim, Coverage, CoverageState
from usbwatch.profile import find

PROFILE = find("fernhill-larch-13")


def claims(capture: Capture) -> dict[str, Claim]:
    return {claim.id: claim for claim in findings(capture, PROFILE).claims}


def having(capture: Capture, *coverage: Coverage) -> Capture:
    told = {one.bus: one for one in (*capture.coverage, *coverage)}
    return replace(capture, coverage=tuple(told.values()))


@pytest.fixture
def by_root(built_tree: BuiltTree) -> Capture:
    capture = look(built_tree(LARCH, Conditions(missing=("keyboard",), battery="silent")))
    return having(capture, Coverage(bus="smbios", state=CoverageState.OK, nodes=4))


@pytest.fixture
def by_bench(by_root: Capture) -> Capture:
    refused = {"state": CoverageState.NOT_PERMITTED, "root_would_help": True}
    return having(
        replace(by_root, unit=replace(by_root.unit, product_serial="")),
        Coverage(bus="log", **refused),  # type: ignore[arg-type]  # one table for both
        Coverage(bus="smbios", **refused),  # type: ignore[arg-type]
        Coverage(bus="dmi", state=CoverageState.OK, root_would_help=True, unread=1, unread_names=("product_serial",)),
    )


def test_root_makes_every_claim(by_root: Capture) -> None:
    assert {claim.id: (claim.made, claim.needs_root, claim.devices) for claim in claims(by_root).values()} == {
        "log": (True, False, ()),
        "smbios": (True, False, ()),
        "serial-number": (True, False, ()),
    }


def test_another_user_is_told_which_claims_want_root_and_which_findings_they_bear_on(by_bench: Capture) -> None:
    assert {claim.id: (claim.made, claim.needs_root) for claim in claims(by_bench).values()} == dict.fromkeys(
        ("log", "smbios", "serial-number"), (False, True)
    )
    assert claims(by_bench)["log"].devices == ("keyboard", "battery")
    assert claims(by_bench)["smbios"].devices == ("battery",)
    assert claims(by_bench)["serial-number"].devices == ()


def test_what_is_not_there_at_all_no_rights_would_bring(by_bench: Capture) -> None:
    capture = having(by_bench, Coverage(bus="log", state=CoverageState.NOT_THERE))
    assert (claims(capture)["log"].made, claims(capture)["log"].needs_root) == (False, False)


def test_any_other_file_that_was_refused_is_named(by_root: Capture) -> None:
    refused = Coverage(
        bus="usb", state=CoverageState.OK, root_would_help=True, unread=3, unread_names=("descriptors", "serial")
    )
    told = claims(having(by_root, refused))
    assert told["usb/descriptors"].what == "what the files descriptors of usb say"
    assert (told["usb/serial"].needs_root, told["usb/serial"].devices) == (True, ("keyboard",))


def test_a_bus_that_was_refused_is_a_claim_of_its_own(by_root: Capture) -> None:
    told = claims(having(by_root, Coverage(bus="drm", state=CoverageState.NOT_PERMITTED, root_would_help=True)))
    assert (told["drm"].made, told["drm"].needs_root) == (False, True)


def test_an_old_capture_that_names_no_files_still_says_that_serials_want_root(by_bench: Capture) -> None:
    old = Coverage(bus="dmi", state=CoverageState.OK, root_would_help=True, unread=1)
    assert claims(having(by_bench, old))["serial-number"].needs_root
