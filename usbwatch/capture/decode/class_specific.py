"""The class-specific descriptors of a device, decoded by the class of the interface they stand in.

``usb_descriptors`` keeps them as they came, each where it belongs; this front
picks the table of layouts. A descriptor of an unknown class, type or subtype
has its head read and the rest kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from typing import Dict, Iterator, List, NamedTuple, Tuple

from usbwatch.capture.decode import usb_audio, usb_ccid, usb_cdc, usb_companion, usb_dfu, usb_hub, usb_video
from usbwatch.capture.decode.class_values import ClassDescriptor
from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.layout import HEAD, SUBTYPED_HEAD, Layout, Part, read
from usbwatch.capture.decode.usb_values import Configuration, Descriptors, Interface, RawDescriptor

__all__ = ["MOST", "ClassSpecific", "PlacedDescriptor", "decode"]

MOST = 8192
"""Descriptors that are decoded at most."""

_INTERFACE = 0x24
_ENDPOINT = 0x25


class PlacedDescriptor(NamedTuple):
    """A class-specific descriptor, and the interface or endpoint it belongs to."""

    descriptor: ClassDescriptor
    family: str
    """Whose layout it has: ``audio``, ``camera``, ``communications``, ``smart card``, ``firmware upgrade``,
    ``hub`` or ``companion``; "" when none is known."""
    configuration: int | None = None
    """bConfigurationValue; None outside any configuration."""
    interface: int | None = None
    """bInterfaceNumber; None outside any interface."""
    alternate_setting: int | None = None
    endpoint: int | None = None
    """bEndpointAddress; None when it belongs to no endpoint."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassSpecific:
    """The class-specific descriptors of one device."""

    placed: Tuple[PlacedDescriptor, ...] = ()
    """In the order of the bytes."""
    defects: Tuple[Defect, ...] = ()
    """By offset."""

    def of(self, family: str) -> Tuple[ClassDescriptor, ...]:
        """The descriptors of a family, in the order of the bytes."""
        return tuple(placed.descriptor for placed in self.placed if placed.family == family)


class _Rule(NamedTuple):
    """Which layouts hold in an interface; a subclass of None stands for any."""

    family: str
    base_class: int
    subclass: int | None
    other_protocols: Tuple[int, ...]
    """Of bInterfaceProtocol: those that have layouts of their own."""
    descriptor_type: int | None
    """The type whose subtype picks the layout; None: the type itself picks it."""
    layouts: Dict[int, Layout]


_LATER_AUDIO = (0x20, 0x30)
"""Audio 2.0 and 3.0. Any other protocol is taken for release 1.0: a device was seen that has protocol 04 and
descriptors of 1.0. The kernel does the same (from memory)."""

_RULES: Tuple[_Rule, ...] = (
    _Rule("audio", 0x01, 0x01, _LATER_AUDIO, _INTERFACE, usb_audio.CONTROL),
    _Rule("audio", 0x01, 0x02, _LATER_AUDIO, _INTERFACE, usb_audio.STREAMING),
    _Rule("audio", 0x01, 0x02, _LATER_AUDIO, _ENDPOINT, usb_audio.ENDPOINT),
    _Rule("communications", 0x02, None, (), _INTERFACE, usb_cdc.FUNCTIONAL),
    _Rule("hub", 0x09, None, (), None, usb_hub.HUB),
    _Rule("smart card", 0x0B, None, (), None, usb_ccid.FUNCTIONAL),
    _Rule("camera", 0x0E, 0x01, (), _INTERFACE, usb_video.CONTROL),
    _Rule("camera", 0x0E, 0x02, (), _INTERFACE, usb_video.STREAMING),
    _Rule("camera", 0x0E, None, (), _ENDPOINT, usb_video.ENDPOINT),
    _Rule("firmware upgrade", 0xFE, 0x01, (), None, usb_dfu.FUNCTIONAL),
)
_HEADERS = ("audio control header", "video control header", "video input header", "video output header")
"""Descriptors whose wTotalLength counts all class-specific ones of their interface, their own included."""


class _Place(NamedTuple):
    """Where raw descriptors stand."""

    configuration: Configuration | None
    interface: Interface | None
    endpoint: int | None
    raw: Tuple[RawDescriptor, ...]


def decode(descriptors: Descriptors) -> ClassSpecific:
    """The class-specific descriptors among those of a device, and what is wrong with them. Raises nothing.

    The defects are those of these descriptors alone; ``descriptors`` has its own.
    """
    placed: List[PlacedDescriptor] = []
    defects: List[Defect] = []
    waiting = ((raw, place) for place in _places(descriptors) for raw in place.raw)
    for raw, place in islice(waiting, MOST):
        one, found = _decoded(raw, place)
        placed.append(one)
        defects.extend(found)
    for raw, _ in islice(waiting, 1):
        problem = f"more than {MOST} class-specific descriptors; those from here on were not decoded"
        defects.append(Defect(offset=raw.offset, problem=problem))
    defects.extend(_total_defects(placed))
    return ClassSpecific(
        placed=tuple(sorted(placed, key=lambda one: one.descriptor.offset)),
        defects=tuple(sorted(defects, key=lambda defect: defect.offset)),
    )


def _places(descriptors: Descriptors) -> Iterator[_Place]:
    """Every place that may have raw descriptors."""
    yield _Place(None, None, None, descriptors.others)
    for configuration in descriptors.configurations:
        yield _Place(configuration, None, None, configuration.others)
        for interface in configuration.interfaces:
            yield _Place(configuration, interface, None, interface.others)
            for endpoint in interface.endpoints:
                yield _Place(configuration, interface, endpoint.address, endpoint.others)


def _decoded(raw: RawDescriptor, place: _Place) -> Tuple[PlacedDescriptor, List[Defect]]:
    data = bytes.fromhex(raw.hex)
    family, layout = _layout(data, place)
    descriptor, defects = read(data, raw.offset, layout, _head(data))
    return PlacedDescriptor(
        descriptor,
        family,
        configuration=place.configuration.value if place.configuration else None,
        interface=place.interface.number if place.interface else None,
        alternate_setting=place.interface.alternate_setting if place.interface else None,
        endpoint=place.endpoint,
    ), defects


def _head(data: bytes) -> Tuple[Part, ...]:
    return SUBTYPED_HEAD if data[1] in (_INTERFACE, _ENDPOINT) else HEAD


def _layout(data: bytes, place: _Place) -> Tuple[str, Layout | None]:
    """The family and the layout of a descriptor, ("", None) when no table has it."""
    kind = data[1]
    if place.endpoint is not None and kind in usb_companion.COMPANION:
        return "companion", usb_companion.COMPANION[kind]
    for rule in _RULES:
        if place.interface is not None and _holds(rule, place.interface, kind):
            return rule.family, _special(data, rule) or rule.layouts.get(_key(data, rule))
    return "", None


def _holds(rule: _Rule, interface: Interface, kind: int) -> bool:
    return (
        rule.base_class == interface.interface_class
        and rule.subclass in (None, interface.interface_subclass)
        and interface.interface_protocol not in rule.other_protocols
        and (rule.descriptor_type == kind or (rule.descriptor_type is None and kind in rule.layouts))
    )


def _key(data: bytes, rule: _Rule) -> int:
    """What picks the layout: type or subtype; -1 when the descriptor ends before it."""
    at = 1 if rule.descriptor_type is None else 2
    return data[at] if len(data) > at else -1


def _special(data: bytes, rule: _Rule) -> Layout | None:
    """A layout that a field beyond the subtype picks."""
    if rule.layouts is usb_audio.STREAMING:
        return usb_audio.format_layout(data)
    if rule.layouts is usb_video.CONTROL:
        return usb_video.input_terminal_layout(data)
    return None


def _total_defects(placed: List[PlacedDescriptor]) -> List[Defect]:
    """Headers whose wTotalLength is not what was found in their alternate setting."""
    sizes: Dict[Tuple[int | None, ...], int] = {}
    for one in placed:
        if one.endpoint is None and one.descriptor.number("bDescriptorType") == _INTERFACE:
            key = (one.configuration, one.interface, one.alternate_setting)
            sizes[key] = sizes.get(key, 0) + one.descriptor.length
    defects = []
    for one in placed:
        total = next((field for field in one.descriptor.fields if field.name == "wTotalLength"), None)
        found = sizes.get((one.configuration, one.interface, one.alternate_setting), 0)
        if one.descriptor.name in _HEADERS and total is not None and total.value != found:
            problem = f"wTotalLength is {total.value}, found {found} bytes"
            defects.append(Defect(offset=total.offset, problem=problem))
    return defects
