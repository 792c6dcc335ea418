"""The shipped profiles as descriptions of units: what a reader of a finding relies on."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from usbwatch.model import ExpectedDevice, PartKind, Profile, UnitStrings
from usbwatch.profile import find, fitting, known, shipped, variant_of

IDS = ["brackwell-heron-14", "fernhill-larch-13", "generic-clamshell", "ostrey-plover-12"]
MODELS = [id_ for id_ in IDS if id_ != "generic-clamshell"]


def reached(profile: Profile, names: tuple[str, ...]) -> set[str]:
    """All ids that following ``needs`` comes to."""
    needs = {device.id: device.needs for device in profile.devices}
    found: set[str] = set()
    ahead = list(names)
    while ahead:
        name = ahead.pop()
        if name not in found:
            found.add(name)
            ahead += needs.get(name, ())
    return found


def device(profile: Profile, id_: str) -> ExpectedDevice:
    return next(device for device in profile.devices if device.id == id_)


@pytest.mark.parametrize("id_", IDS)
def test_a_device_off_the_mainboard_depends_on_a_way_to_it(id_: str) -> None:
    """Leaving a part's link out of its device's needs spoils every answer, so no shipped profile may."""
    profile = find(id_)
    joins = {part.id: set(part.joins) for part in profile.parts if part.kind is PartKind.LINK}
    for each in profile.devices:
        links = [joins[name] for name in reached(profile, each.needs) if name in joins]
        assert each.within == "mainboard" or any(each.within in ends for ends in links), each.id
        assert _connected("mainboard", each.within, links), each.id


def _connected(start: str, end: str, links: list[set[str]]) -> bool:
    found = {start}
    for _ in links:
        found |= {end for ends in links if ends & found for end in ends}
    return end in found


@pytest.mark.parametrize("id_", IDS)
def test_every_part_is_needed_by_something_that_can_be_observed(id_: str) -> None:
    """A link, section or rail that nothing needs could never be suspected."""
    profile = find(id_)
    needs = [*(each.needs for each in profile.devices), *(check.needs for check in profile.checks)]
    observed = reached(profile, tuple(name for names in needs for name in names))
    carried = {each.within for each in profile.devices}
    for part in profile.parts:
        assert part.id in observed or part.id in carried, part.id


@pytest.mark.parametrize("id_", IDS)
def test_what_only_firmware_declares_is_not_asked_for_more(id_: str) -> None:
    """ACPI names lid and power button whatever hangs on their lines (drivers/acpi/button.c binds to the object)."""
    for each in find(id_).devices:
        if each.function in ("lid", "power-button"):
            assert each.reaches.value == "attached"


@pytest.mark.parametrize("id_", MODELS)
def test_a_model_has_costs_times_and_says_that_it_is_invented(id_: str) -> None:
    profile = find(id_)
    assert "Invented" in profile.source
    assert profile.money.value_working is not None
    assert profile.money.value_as_is is not None
    for part in profile.parts:
        if part.kind is PartKind.SUBASSEMBLY:
            assert part.cost is not None, part.id
        if part.kind in (PartKind.SUBASSEMBLY, PartKind.LINK):
            assert part.minutes is not None, part.id


@pytest.mark.parametrize("id_", MODELS)
def test_a_model_has_a_price_for_all_that_can_be_put_in_and_says_what_its_parts_bring(id_: str) -> None:
    profile = find(id_)
    assert all(part.cost is not None for part in profile.parts if part.kind in (PartKind.SUBASSEMBLY, PartKind.LINK))
    assert profile.money.value_parts is not None


def test_between_them_the_models_are_worth_more_whole_and_worth_more_in_parts() -> None:
    """So that the demo shows both ways of giving a unit up."""
    money = {id_: find(id_).money for id_ in MODELS}
    as_is = {id_: each.value_as_is for id_, each in money.items() if each.value_as_is is not None}
    parts = {id_: each.value_parts for id_, each in money.items() if each.value_parts is not None}
    assert {id_: parts[id_] > as_is[id_] for id_ in MODELS} == {
        "brackwell-heron-14": True,
        "fernhill-larch-13": False,
        "ostrey-plover-12": True,
    }


LAYOUTS = {
    ("fernhill-larch-13", "keyboard"): ("pci0000:00/14.0/usb2/", "top-case-flex"),
    ("brackwell-heron-14", "keyboard"): ("platform/i8042/kbd", "keyboard-flex"),
    ("ostrey-plover-12", "keyboard"): ("acpi/_SB_.PCI0.SPI0.", "base-contacts"),
    ("fernhill-larch-13", "touchpad"): ("pci0000:00/14.0/usb2/", "top-case-flex"),
    ("brackwell-heron-14", "touchpad"): ("acpi/_SB_.PCI0.I2C0.", "touchpad-flex"),
    ("fernhill-larch-13", "battery"): ("acpi/", "top-case-flex"),
    ("brackwell-heron-14", "battery"): ("acpi/", "battery-connector"),
    ("brackwell-heron-14", "fingerprint-reader"): ("pci0000:00/14.0/usb2/", "button-flex"),
    ("brackwell-heron-14", "power-button"): ("acpi/", "button-flex"),
    ("fernhill-larch-13", "camera"): ("pci0000:00/14.0/usb2/", "display-cable"),
    ("brackwell-heron-14", "camera"): ("pci0000:00/14.0/usb2/", "display-cable"),
}
"""The bus of a device, by the beginning of its location, and what it is lost with."""


@pytest.mark.parametrize(("where", "how"), LAYOUTS.items(), ids=" ".join)
def test_the_models_differ_in_how_a_part_is_wired(where: tuple[str, str], how: tuple[str, str]) -> None:
    profile = find(where[0])
    each = device(profile, where[1])
    assert all(location.startswith(how[0]) for location in each.locations)
    assert how[1] in reached(profile, each.needs)


@pytest.mark.parametrize("id_", MODELS)
def test_what_looks_the_same_in_a_capture_can_be_told_apart_by_hand(id_: str) -> None:
    """A flex and the boards at its ends: seating or a measured supply; the pack: running alone; sockets: a keyboard."""
    subjects = {check.needs[-1]: check for check in find(id_).checks}
    kinds = {part.id: part.kind for part in find(id_).parts}
    asked = [kinds[subject] for subject in subjects if subject in kinds]
    assert asked.count(PartKind.LINK) >= 2
    assert asked.count(PartKind.RAIL) >= 1
    ids = {check.id for check in find(id_).checks}
    assert {"runs-on-battery", "runs-on-adapter", "charges", "power-button-works", "picture-outside"} <= ids
    assert any(name.startswith("keyboard-in-") for name in ids)


@pytest.mark.parametrize("id_", IDS)
def test_a_swollen_pack_stops_everything(id_: str) -> None:
    (check,) = (check for check in find(id_).checks if check.stop)
    assert check.needs == ("battery-pack",)
    assert "take it out of use" in check.stop


@pytest.mark.parametrize("id_", IDS)
def test_identities_come_from_the_test_range_alone(id_: str) -> None:
    """pid.codes keeps 1209:0001 to 1209:0010 for tests (from memory); no maker's id may be in a shipped profile."""
    allowed = {f"1209:{number:04x}" for number in range(1, 0x11)}
    identities = [name for each in find(id_).devices for name in each.identities if ":" in name]
    assert set(identities) <= allowed


@pytest.mark.parametrize("id_", IDS)
def test_every_check_that_touches_a_pack_or_a_connector_has_a_caution(id_: str) -> None:
    for check in find(id_).checks:
        if re.search(r"pack|battery|flex|cable|liquid|adapter alone|lie flat", check.question):
            assert check.caution, check.id


@pytest.mark.parametrize("id_", IDS)
def test_a_technician_finds_comments_in_every_section(id_: str) -> None:
    text = (shipped("profiles") / f"{id_}.toml").read_text(encoding="utf-8")
    assert text.count("\n# ---") >= 6
    assert max(map(len, text.splitlines())) <= 160


class TestLarch:
    """Fernhill Larch 13: the unit of the emulated trees."""

    profile = find("fernhill-larch-13")

    def test_keyboard_touchpad_and_gauge_hang_on_one_flex(self) -> None:
        for id_ in ("keyboard", "touchpad", "fingerprint-reader", "battery"):
            assert {"top-case-flex", "mainboard-input"} <= reached(self.profile, device(self.profile, id_).needs)

    def test_the_smart_card_reader_tells_the_hub_from_the_flex(self) -> None:
        keyboard = reached(self.profile, device(self.profile, "keyboard").needs)
        card = reached(self.profile, device(self.profile, "smart-card-reader").needs)
        assert "internal-hub" in keyboard & card
        assert not {"top-case-flex", "mainboard-input", "top-case-3v3"} & card

    def test_the_input_branch_of_the_top_case_spares_the_gauge(self) -> None:
        battery = reached(self.profile, device(self.profile, "battery").needs)
        for id_ in ("keyboard", "touchpad", "fingerprint-reader"):
            assert "top-case-inputs" in device(self.profile, id_).needs
        assert not {"top-case-inputs", "top-case-3v3"} & battery

    def test_the_hub_is_on_the_mainboard(self) -> None:
        assert device(self.profile, "internal-hub").within == "mainboard"

    def test_the_panel_may_be_in_two_places(self) -> None:
        assert device(self.profile, "panel").locations == (
            "pci0000:00/02.0/drm/eDP-1",
            "pci0000:00/02.0/drm/Virtual-1",
        )

    @pytest.mark.parametrize(
        ("sku", "variant", "lacks"),
        [
            ("L13-8-256", "standard", ()),
            ("l13-4-128", "basic", ("fingerprint-reader", "smart-card-reader")),
            ("L13-16-512", None, None),
        ],
    )
    def test_the_variant_is_told_by_the_stock_keeping_unit(
        self, sku: str, variant: str | None, lacks: tuple[str, ...] | None
    ) -> None:
        found = variant_of(self.profile, UnitStrings(product_sku=sku))
        assert (found.id if found else None, found.without if found else None) == (variant, lacks)


class TestHeron:
    """Brackwell Heron 14: nothing of its input is on USB."""

    profile = find("brackwell-heron-14")

    def test_keyboard_and_touchpad_are_on_other_buses(self) -> None:
        assert device(self.profile, "keyboard").locations == ("platform/i8042/kbd",)
        assert device(self.profile, "touchpad").locations[0].startswith("acpi/")
        assert "usb-controller" not in reached(self.profile, device(self.profile, "keyboard").needs)

    def test_the_gauge_does_not_hang_on_the_keyboard_flex(self) -> None:
        needs = reached(self.profile, device(self.profile, "battery").needs)
        assert needs == {"mainboard-ec", "mainboard-gauge", "battery-connector"}

    def test_camera_and_touch_screen_share_the_display_cable(self) -> None:
        for id_ in ("camera", "touchscreen", "panel"):
            assert "display-cable" in reached(self.profile, device(self.profile, id_).needs)

    def test_fingerprint_reader_and_power_button_share_a_daughterboard(self) -> None:
        boards = {device(self.profile, id_).within for id_ in ("fingerprint-reader", "power-button")}
        assert boards == {"button-board"}

    def test_there_are_two_usb_controllers(self) -> None:
        assert sum(each.function == "usb-controller" for each in self.profile.devices) == 2


class TestPlover:
    """Ostrey Plover 12: keyboard and touch screen over SPI, and a base that comes off."""

    profile = find("ostrey-plover-12")

    def test_the_keyboard_is_on_spi(self) -> None:
        assert "SPI" in device(self.profile, "keyboard").locations[0]

    def test_all_of_the_base_hangs_on_its_contacts(self) -> None:
        base = [each for each in self.profile.devices if each.within == "keyboard-base"]
        assert len(base) == 2
        assert all("base-contacts" in reached(self.profile, each.needs) for each in base)


class TestGeneric:
    """Any clamshell: by function alone."""

    profile = find("generic-clamshell")

    def test_it_is_generic_and_matches_nothing(self) -> None:
        assert self.profile.generic
        assert not self.profile.match.strings

    def test_it_says_that_it_has_no_source(self) -> None:
        assert "common practice, no source" in self.profile.source

    def test_it_names_no_place_and_no_identity(self) -> None:
        assert all(not each.locations and not each.identities for each in self.profile.devices)

    def test_it_knows_no_price(self) -> None:
        assert all(part.cost is None for part in self.profile.parts)

    def test_what_not_every_laptop_has_is_optional_or_waits_for_firmware(self) -> None:
        always = {each.id for each in self.profile.devices if not each.optional and not each.firmware_names}
        assert always == {
            "keyboard",
            "pointing-device",
            "battery",
            "graphics",
            "panel",
            "disk",
            "audio",
            "bluetooth",
        }


@pytest.mark.parametrize(
    ("unit", "chosen"),
    [
        (UnitStrings(sys_vendor="FERNHILL", product_name="Larch  13"), "fernhill-larch-13"),
        (UnitStrings(sys_vendor="Brackwell Ltd.", product_name="heron 14"), "brackwell-heron-14"),
        (UnitStrings(sys_vendor="Ostrey", product_name="Plover 12", chassis_type="32"), "ostrey-plover-12"),
        (UnitStrings(sys_vendor="Ostrey", product_name="Plover 12", chassis_type="10"), None),
        (UnitStrings(sys_vendor="Fernhill", product_name="Larch 15"), None),
    ],
    ids=lambda value: value.product_name if isinstance(value, UnitStrings) else str(value),
)
def test_each_model_is_chosen_by_its_strings_alone(unit: UnitStrings, chosen: str | None) -> None:
    assert [profile.id for profile in fitting(unit, known())] == ([chosen] if chosen else [])


def test_file_names_are_ids() -> None:
    assert sorted(Path(path).stem for path in shipped("profiles").glob("*.toml")) == IDS
