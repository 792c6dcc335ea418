"""Five invented models, each wired in another way. Every price, minute and layout is invented."""

from __future__ import annotations

from dataclasses import dataclass, replace

from usbwatch.model import ExpectedDevice, HandCheck, Money, Part, PartKind, Profile

__all__ = ["LAYOUTS", "Layout"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One invented model, and what a first capture of it often fails to see."""

    profile: Profile
    often_unseen: tuple[str, ...] = ()
    """Devices that the first capture misses for want of rights, as often as not: they need a look of their own."""


def _assembly(id_: str, cost: int, minutes: int) -> Part:
    return Part(id=id_, kind=PartKind.SUBASSEMBLY, name=id_.replace("-", " "), cost=cost, minutes=minutes)


def _section(id_: str, within: str = "mainboard") -> Part:
    return Part(id=id_, kind=PartKind.SECTION, name=id_.replace("-", " "), within=within)


def _rail(id_: str, within: str = "mainboard") -> Part:
    return Part(id=id_, kind=PartKind.RAIL, name=id_.replace("-", " "), within=within)


def _link(id_: str, near: str, far: str, cost: int, minutes: int) -> Part:
    name = id_.replace("-", " ")
    return Part(id=id_, kind=PartKind.LINK, name=name, joins=(near, far), cost=cost, minutes=minutes)


def _device(id_: str, within: str, *needs: str, function: str = "") -> ExpectedDevice:
    name = id_.replace("-", " ")
    return ExpectedDevice(id=id_, name=name, function=function or id_, within=within, needs=needs)


def _check(id_: str, *needs: str, minutes: int = 2) -> HandCheck:
    return HandCheck(id=id_, question=f"{id_.replace('-', ' ')}?", needs=needs, minutes=minutes)


def _profile(
    id_: str, parts: tuple[Part, ...], devices: tuple[ExpectedDevice, ...], checks: tuple[HandCheck, ...]
) -> Profile:
    hubs = {each.id for each in devices if each.function == "hub"}
    on_usb = [each.id for each in devices if {"usb-section", *hubs} & set(each.needs)]
    devices = tuple(
        replace(each, locations=(f"pci0000:00/14.0/usb2/{on_usb.index(each.id) + 1}",)) if each.id in on_usb else each
        for each in devices
    )
    money = Money(currency="EUR", value_working=380, value_as_is=110, hourly_rate=36)
    return Profile(id=id_, name=id_, source="invented", parts=parts, devices=devices, checks=checks, money=money)


_BOARD = (
    _assembly("mainboard", 140, 70),
    _section("usb-section"),
    _section("power-section"),
    _section("controller-section"),
    _rail("input-rail"),
)
_DISPLAY = (_assembly("display", 130, 45), _link("display-cable", "mainboard", "display", 22, 40))
_RADIO = (_assembly("radio-card", 20, 12),)
_BATTERY = (_assembly("battery-pack", 55, 15),)

_DISPLAY_DEVICES = (
    _device("camera", "display", "usb-section", "display-cable"),
    _device("panel", "display", "display-cable"),
)
_RADIO_DEVICES = (
    _device("bluetooth", "radio-card", "usb-section"),
    _device("wlan", "radio-card"),
)
_BOARD_DEVICES = (
    _device("ethernet", "mainboard"),
    _device("audio", "mainboard"),
)
_STEADY = _check("picture-steady", "display-cable", "panel", minutes=2)

ONE_PIECE = Layout(
    profile=_profile(
        "one-piece-top-case",
        (
            *_BOARD,
            *_DISPLAY,
            *_RADIO,
            *_BATTERY,
            _assembly("top-case", 115, 60),
            _link("top-case-flex", "mainboard", "top-case", 8, 15),
            _link("battery-cable", "top-case", "battery-pack", 6, 15),
            _assembly("io-board", 35, 20),
            _link("io-cable", "mainboard", "io-board", 9, 15),
        ),
        (
            _device("internal-hub", "mainboard", "usb-section", function="hub"),
            _device("keyboard", "top-case", "internal-hub", "input-rail", "top-case-flex"),
            _device("touchpad", "top-case", "internal-hub", "input-rail", "top-case-flex"),
            _device("fingerprint-reader", "top-case", "internal-hub", "input-rail", "top-case-flex"),
            _device(
                "gauge", "battery-pack", "controller-section", "top-case-flex", "battery-cable", function="battery"
            ),
            _device("card-reader", "io-board", "usb-section", "io-cable"),
            *_DISPLAY_DEVICES,
            *_RADIO_DEVICES,
            *_BOARD_DEVICES,
        ),
        (
            _check("power-button", "controller-section", "top-case-flex", minutes=1),
            _check("runs-on-battery", "power-section", "top-case-flex", "battery-cable", "battery-pack", minutes=3),
            _check("io-socket", "usb-section", "io-cable", "io-board", minutes=2),
            _STEADY,
        ),
    ),
    often_unseen=("panel",),
)

SEPARATE_MODULES = Layout(
    profile=_profile(
        "ps2-keyboard-i2c-touchpad",
        (
            *_BOARD,
            *_DISPLAY,
            *_RADIO,
            *_BATTERY,
            _assembly("keyboard-module", 38, 35),
            _link("keyboard-flex", "mainboard", "keyboard-module", 6, 25),
            _assembly("touchpad-module", 30, 30),
            _link("touchpad-flex", "mainboard", "touchpad-module", 5, 20),
            _section("i2c-section"),
            _link("battery-cable", "mainboard", "battery-pack", 6, 15),
        ),
        (
            _device("keyboard", "keyboard-module", "controller-section", "keyboard-flex"),
            _device("touchpad", "touchpad-module", "i2c-section", "input-rail", "touchpad-flex"),
            _device("gauge", "battery-pack", "controller-section", "battery-cable", function="battery"),
            _device("lid", "mainboard", "controller-section"),
            _device("mains-adapter", "mainboard", "controller-section", "power-section"),
            _device("card-reader", "mainboard", "usb-section"),
            *_DISPLAY_DEVICES,
            *_RADIO_DEVICES,
            *_BOARD_DEVICES,
        ),
        (
            _check("keys-type", "keyboard", minutes=2),
            _check("runs-on-battery", "power-section", "battery-cable", "battery-pack", minutes=3),
            _check("charges", "power-section", "mains-adapter", minutes=2),
            _STEADY,
        ),
    ),
    often_unseen=("touchpad",),
)

DETACHABLE = Layout(
    profile=_profile(
        "detachable-spi-base",
        (
            *_BOARD,
            *_DISPLAY,
            *_BATTERY,
            _assembly("keyboard-base", 85, 5),
            _link("base-contacts", "mainboard", "keyboard-base", 14, 30),
            _section("spi-section"),
            _assembly("touch-glass", 70, 50),
            _link("touch-flex", "mainboard", "touch-glass", 7, 40),
            _link("battery-cable", "mainboard", "battery-pack", 6, 35),
        ),
        (
            _device("keyboard", "keyboard-base", "spi-section", "input-rail", "base-contacts"),
            _device("touchpad", "keyboard-base", "spi-section", "input-rail", "base-contacts"),
            _device("touchscreen", "touch-glass", "spi-section", "touch-flex"),
            _device("gauge", "battery-pack", "controller-section", "battery-cable", function="battery"),
            _device("bluetooth", "mainboard", "usb-section"),
            _device("wlan", "mainboard"),
            _device("sensor", "mainboard", "controller-section"),
            *_DISPLAY_DEVICES,
            *_BOARD_DEVICES,
        ),
        (
            _check("base-lamp", "input-rail", "base-contacts", minutes=1),
            _check("runs-on-battery", "power-section", "battery-cable", "battery-pack", minutes=3),
            _STEADY,
        ),
    ),
    often_unseen=("sensor", "keyboard"),
)

GAUGE_DIRECT = Layout(
    profile=_profile(
        "gauge-direct",
        (
            *_BOARD,
            *_DISPLAY,
            *_RADIO,
            *_BATTERY,
            _assembly("top-case", 95, 50),
            _link("keyboard-flex", "mainboard", "top-case", 8, 15),
            _link("touchpad-flex", "mainboard", "top-case", 6, 15),
            _link("battery-plug", "mainboard", "battery-pack", 6, 12),
            _section("gauge-section"),
        ),
        (
            _device("keyboard", "top-case", "usb-section", "input-rail", "keyboard-flex"),
            _device("touchpad", "top-case", "usb-section", "input-rail", "touchpad-flex"),
            _device("gauge", "battery-pack", "gauge-section", "battery-plug", function="battery"),
            _device("mains-adapter", "mainboard", "gauge-section", "power-section"),
            _device("card-reader", "mainboard", "usb-section"),
            _device("disk", "mainboard"),
            *_DISPLAY_DEVICES,
            *_RADIO_DEVICES,
            *_BOARD_DEVICES,
        ),
        (
            _check("keys-type", "keyboard", minutes=2),
            _check("runs-on-battery", "power-section", "battery-plug", "battery-pack", minutes=3),
            _check("backlight-of-keys", "input-rail", "keyboard-flex", minutes=1),
            _STEADY,
        ),
    ),
    often_unseen=("disk",),
)

MANY_BOARDS = Layout(
    profile=_profile(
        "many-daughterboards",
        (
            *_BOARD,
            *_DISPLAY,
            *_RADIO,
            *_BATTERY,
            _assembly("keyboard-module", 42, 40),
            _link("keyboard-flex", "mainboard", "keyboard-module", 6, 20),
            _assembly("left-board", 32, 20),
            _link("left-cable", "mainboard", "left-board", 9, 15),
            _section("left-hub-section", "left-board"),
            _assembly("right-board", 28, 20),
            _link("right-cable", "mainboard", "right-board", 9, 15),
            _assembly("finger-board", 26, 25),
            _link("finger-flex", "left-board", "finger-board", 5, 20),
            _link("battery-cable", "mainboard", "battery-pack", 6, 12),
        ),
        (
            _device("left-hub", "left-board", "usb-section", "left-cable", "left-hub-section", function="hub"),
            _device("card-reader", "left-board", "left-hub"),
            _device("smart-card-reader", "left-board", "left-hub"),
            _device("fingerprint-reader", "finger-board", "left-hub", "finger-flex"),
            _device("audio-codec", "right-board", "usb-section", "right-cable", function="audio"),
            _device("sensor", "right-board", "controller-section", "right-cable"),
            _device("keyboard", "keyboard-module", "controller-section", "keyboard-flex"),
            _device("touchpad", "keyboard-module", "usb-section", "keyboard-flex"),
            _device("gauge", "battery-pack", "controller-section", "battery-cable", function="battery"),
            *_DISPLAY_DEVICES,
            *_RADIO_DEVICES,
            *_BOARD_DEVICES,
        ),
        (
            _check("left-socket", "usb-section", "left-cable", "left-hub-section", minutes=2),
            _check("power-button", "controller-section", "right-cable", minutes=1),
            _check("runs-on-battery", "power-section", "battery-cable", "battery-pack", minutes=3),
            _STEADY,
        ),
    ),
    often_unseen=("fingerprint-reader",),
)

LAYOUTS = {each.profile.id: each for each in (ONE_PIECE, SEPARATE_MODULES, DETACHABLE, GAUGE_DIRECT, MANY_BOARDS)}
"""By the id of the profile."""
