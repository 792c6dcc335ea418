"""The descriptors of a USB device, from the bytes that sysfs ``descriptors`` holds.

The file is the device descriptor, then the block of each configuration in
index order (the kernel's Documentation/ABI/stable/sysfs-bus-usb). Its blocks
are walked by bLength, never by wTotalLength: a device may deliver less than it
claims. A descriptor shorter than the standard has it is not believed and kept
raw; of a longer one the further bytes are passed over, and the next descriptor
is found by the length it has (USB 2.0 section 9.5, from memory).
"""

from __future__ import annotations

from struct import Struct
from typing import Any, Dict, List, NamedTuple, Set, Tuple, Union

from usbwatch.capture.decode.defect import Defect
from usbwatch.capture.decode.usb_values import (
    Association,
    Configuration,
    Descriptors,
    DeviceDescriptor,
    Endpoint,
    HidDescriptor,
    Interface,
    RawDescriptor,
)

__all__ = [
    "LONGEST",
    "Association",
    "Configuration",
    "Descriptors",
    "DeviceDescriptor",
    "Endpoint",
    "HidDescriptor",
    "Interface",
    "RawDescriptor",
    "decode",
]

LONGEST = 18 + 8 * 0xFFFF
"""Bytes that are read at most: a device descriptor and 8 configurations, the kernel's USB_MAXCONFIG."""

_MOST_ASSOCIATIONS = 16
"""Per configuration: the kernel's USB_MAXIADS (include/linux/usb.h)."""

_DEVICE = 0x01
_CONFIGURATION = 0x02
_INTERFACE = 0x04
_ENDPOINT = 0x05
_ASSOCIATION = 0x0B
_HID = 0x21
_HID_CLASS = 0x03


class _Layout(NamedTuple):
    """What follows bLength and bDescriptorType in one type of descriptor, in the order of its value's fields."""

    name: str
    fields: Struct

    @property
    def size(self) -> int:
        """The bLength that the standard gives it, at least."""
        return 2 + self.fields.size


_LAYOUTS = {
    _DEVICE: _Layout("device", Struct("<HBBBBHHHBBBB")),
    _CONFIGURATION: _Layout("configuration", Struct("<HBBBBB")),
    _INTERFACE: _Layout("interface", Struct("<BBBBBBB")),
    _ENDPOINT: _Layout("endpoint", Struct("<BBHB")),
    _ASSOCIATION: _Layout("association", Struct("<BBBBBB")),
    _HID: _Layout("HID", Struct("<HBB")),
}
_SUBORDINATE = Struct("<BH")

# Where in a descriptor the count stands that a check can find wrong.
_AT_NUM_CONFIGURATIONS = 17
_AT_TOTAL_LENGTH = 2
_AT_NUM_INTERFACES = 4
_AT_NUM_ENDPOINTS = 4
_AT_NUM_DESCRIPTORS = 5
_AT_INTERFACE_COUNT = 3


class _Piece(NamedTuple):
    """One descriptor by its place alone."""

    offset: int
    length: int
    kind: int


class _EndpointDraft:
    """An endpoint, and what was found after it so far."""

    def __init__(self, value: Endpoint) -> None:
        self.value = value
        self.others: List[RawDescriptor] = []

    def finished(self) -> Endpoint:
        return self.value._replace(others=tuple(self.others)) if self.others else self.value


class _InterfaceDraft:
    """An interface, and what was found in it so far."""

    def __init__(self, value: Interface) -> None:
        self.value = value
        self.hid: HidDescriptor | None = None
        self.endpoints: List[_EndpointDraft] = []
        self.others: List[RawDescriptor] = []

    def finished(self, association: Association | None) -> Interface:
        return self.value._replace(
            association=association,
            hid=self.hid,
            endpoints=tuple(endpoint.finished() for endpoint in self.endpoints),
            others=tuple(self.others),
        )


class _ConfigurationDraft:
    """A configuration, and what was found in it so far."""

    def __init__(self, value: Configuration) -> None:
        self.value = value
        self.end = value.offset + value.length
        self.associations: List[Association] = []
        self.interfaces: List[_InterfaceDraft] = []
        self.others: List[RawDescriptor] = []
        self.open: _InterfaceDraft | None = None
        """The interface that the next endpoint belongs to."""

    def finished(self) -> Configuration:
        owners: Dict[int, Association] = {}
        for association in self.associations:
            for number in range(association.first_interface, association.first_interface + association.interface_count):
                owners.setdefault(number, association)
        return self.value._replace(
            associations=tuple(self.associations),
            interfaces=tuple(draft.finished(owners.get(draft.value.number)) for draft in self.interfaces),
            others=tuple(self.others),
        )


_Home = Union[_EndpointDraft, _InterfaceDraft, _ConfigurationDraft, "_Walk"]


class _Walk:
    """Takes one descriptor after the other and puts each where it belongs."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.device: DeviceDescriptor | None = None
        self.configurations: List[_ConfigurationDraft] = []
        self.others: List[RawDescriptor] = []
        self.defects: List[Defect] = []

    def take(self, piece: _Piece) -> None:
        """Decode one descriptor; whatever cannot be decoded is kept raw."""
        problem = _TAKERS.get(piece.kind, _Walk.keep)(self, piece)
        if problem:
            self.defects.append(Defect(offset=piece.offset, problem=f"{problem}; kept as it came"))
            self.keep(piece)
        if self.configurations:
            self.configurations[-1].end = piece.offset + piece.length

    def fields(self, piece: _Piece) -> Tuple[Any, ...]:
        """Offset, length and the fields of a descriptor that is long enough for its type."""
        return (piece.offset, piece.length, *_LAYOUTS[piece.kind].fields.unpack_from(self.data, piece.offset + 2))

    def home(self) -> _Home:
        """What a descriptor of no type of its own belongs to."""
        if not self.configurations:
            return self
        configuration = self.configurations[-1]
        if configuration.open is None:
            return configuration
        return configuration.open.endpoints[-1] if configuration.open.endpoints else configuration.open

    def keep(self, piece: _Piece) -> str:
        raw = self.data[piece.offset : piece.offset + piece.length].hex()
        self.home().others.append(RawDescriptor(piece.offset, piece.length, piece.kind, raw))
        return ""

    # Each of the following returns what is wrong, as a phrase, or "" when the descriptor was taken.

    def take_device(self, piece: _Piece) -> str:
        if piece.offset:
            return "device descriptor not at the start"
        if problem := _too_short(piece):
            return problem
        self.device = DeviceDescriptor(*self.fields(piece))
        return ""

    def take_configuration(self, piece: _Piece) -> str:
        if problem := _too_short(piece):
            return problem
        value = Configuration(*self.fields(piece))
        self.configurations.append(_ConfigurationDraft(value))
        return ""

    def take_interface(self, piece: _Piece) -> str:
        if not self.configurations:
            return "interface descriptor outside any configuration"
        configuration = self.configurations[-1]
        configuration.open = None
        if problem := _too_short(piece):
            return problem
        draft = _InterfaceDraft(Interface(*self.fields(piece)))
        configuration.interfaces.append(draft)
        configuration.open = draft
        return ""

    def take_endpoint(self, piece: _Piece) -> str:
        interface = self.configurations[-1].open if self.configurations else None
        if interface is None:
            return "endpoint descriptor outside any interface"
        if problem := _too_short(piece):
            return problem
        value = Endpoint(*self.fields(piece))
        if not value.number:
            self.defects.append(Defect(offset=piece.offset + 2, problem="an endpoint descriptor for endpoint 0"))
        interface.endpoints.append(_EndpointDraft(value))
        return ""

    def take_association(self, piece: _Piece) -> str:
        if not self.configurations:
            return "association descriptor outside any configuration"
        if problem := _too_short(piece):
            return problem
        associations = self.configurations[-1].associations
        if len(associations) == _MOST_ASSOCIATIONS:
            return f"more than {_MOST_ASSOCIATIONS} associations in one configuration"
        associations.append(Association(*self.fields(piece)))
        return ""

    def take_hid(self, piece: _Piece) -> str:
        interface = self.configurations[-1].open if self.configurations else None
        if interface is None or interface.value.interface_class != _HID_CLASS:
            return self.keep(piece)  # type 0x21 means other things in other classes
        if interface.hid is not None:
            return "a second HID descriptor in one interface"
        if problem := _too_short(piece):
            return problem
        fields = self.fields(piece)
        claimed = int(fields[-1])
        subordinates = self.subordinates(piece, claimed)
        if len(subordinates) < claimed:
            problem = f"bNumDescriptors is {claimed}, bLength {piece.length} has room for {len(subordinates)}"
            self.defects.append(Defect(offset=piece.offset + _AT_NUM_DESCRIPTORS, problem=problem))
        interface.hid = HidDescriptor._make((*fields, subordinates))
        return ""

    def subordinates(self, piece: _Piece, claimed: int) -> Tuple[Tuple[int, int], ...]:
        """Type and length of each class descriptor that a HID descriptor has room for."""
        start = piece.offset + _LAYOUTS[_HID].size
        room = (piece.offset + piece.length - start) // _SUBORDINATE.size
        return tuple(
            (kind, length)
            for kind, length in (
                _SUBORDINATE.unpack_from(self.data, start + index * _SUBORDINATE.size)
                for index in range(min(claimed, room))
            )
        )


_TAKERS = {
    _DEVICE: _Walk.take_device,
    _CONFIGURATION: _Walk.take_configuration,
    _INTERFACE: _Walk.take_interface,
    _ENDPOINT: _Walk.take_endpoint,
    _ASSOCIATION: _Walk.take_association,
    _HID: _Walk.take_hid,
}


def decode(data: bytes) -> Descriptors:
    """What sysfs ``descriptors`` says of a device, and what is wrong with it. Raises nothing.

    Every byte belongs to one descriptor, or to one defect that has a length.
    """
    walk = _Walk(data[:LONGEST])
    pieces, unread = _stepped(walk.data)
    for piece in pieces:
        walk.take(piece)
    configurations = tuple(draft.finished() for draft in walk.configurations)
    defects = [*walk.defects, *unread, *_size_defects(data), *_start_defects(pieces, walk.device, configurations)]
    for draft in walk.configurations:
        defects.extend(_count_defects(draft))
        defects.extend(_association_defects(draft))
    return Descriptors(
        device=walk.device,
        configurations=configurations,
        others=tuple(walk.others),
        defects=tuple(sorted(defects, key=lambda defect: defect.offset)),
    )


def _stepped(data: bytes) -> Tuple[List[_Piece], List[Defect]]:
    """The descriptors by their places, and what is left when a bLength leads nowhere."""
    pieces: List[_Piece] = []
    offset = 0
    while offset < len(data):
        problem = _dead_end(data, offset)
        if problem:
            return pieces, [Defect(offset=offset, problem=problem, length=len(data) - offset)]
        pieces.append(_Piece(offset, data[offset], data[offset + 1]))
        offset += data[offset]
    return pieces, []


def _dead_end(data: bytes, offset: int) -> str:
    left = len(data) - offset
    length = data[offset]
    if length < 2:  # noqa: PLR2004  bLength and bDescriptorType themselves
        return f"bLength is {length}, below 2; what follows cannot be told apart"
    if length > left:
        return f"bLength is {length}, but only {left} of these bytes are there"
    return ""


def _too_short(piece: _Piece) -> str:
    layout = _LAYOUTS[piece.kind]
    if piece.length >= layout.size:
        return ""
    return f"{layout.name} descriptor of {piece.length} bytes, the standard has {layout.size}"


def _size_defects(data: bytes) -> List[Defect]:
    if not data:
        return [Defect(offset=0, problem="no bytes at all")]
    if len(data) > LONGEST:
        problem = f"longer than the {LONGEST} bytes that a device can have; the rest was not read"
        return [Defect(offset=LONGEST, problem=problem, length=len(data) - LONGEST)]
    return []


def _start_defects(
    pieces: List[_Piece], device: DeviceDescriptor | None, configurations: Tuple[Configuration, ...]
) -> List[Defect]:
    """What is wrong with the device descriptor as against the rest."""
    if device is None:
        misplaced = bool(pieces) and pieces[0].kind != _DEVICE
        return [Defect(offset=0, problem="no device descriptor at the start")] if misplaced else []
    if device.num_configurations == len(configurations):
        return []
    problem = f"bNumConfigurations is {device.num_configurations}, found {len(configurations)}"
    return [Defect(offset=_AT_NUM_CONFIGURATIONS, problem=problem)]


def _count_defects(draft: _ConfigurationDraft) -> List[Defect]:
    """Where a configuration's claims about its length and contents are not so."""
    claim = draft.value
    defects = []
    found = draft.end - claim.offset
    if claim.total_length != found:
        problem = f"wTotalLength is {claim.total_length}, found {found} bytes"
        defects.append(Defect(offset=claim.offset + _AT_TOTAL_LENGTH, problem=problem))
    numbers = {interface.value.number for interface in draft.interfaces}
    if claim.num_interfaces != len(numbers):
        problem = f"bNumInterfaces is {claim.num_interfaces}, found {len(numbers)}"
        defects.append(Defect(offset=claim.offset + _AT_NUM_INTERFACES, problem=problem))
    return defects + _interface_defects(draft.interfaces)


def _interface_defects(interfaces: List[_InterfaceDraft]) -> List[Defect]:
    defects = []
    seen: Set[Tuple[int, int]] = set()
    for draft in interfaces:
        claim = draft.value
        if claim.num_endpoints != len(draft.endpoints):
            problem = f"bNumEndpoints is {claim.num_endpoints}, found {len(draft.endpoints)}"
            defects.append(Defect(offset=claim.offset + _AT_NUM_ENDPOINTS, problem=problem))
        setting = (claim.number, claim.alternate_setting)
        if setting in seen:
            problem = f"interface {setting[0]} has alternate setting {setting[1]} twice"
            defects.append(Defect(offset=claim.offset, problem=problem))
        seen.add(setting)
    return defects


def _association_defects(draft: _ConfigurationDraft) -> List[Defect]:
    defects = []
    numbers = {interface.value.number for interface in draft.interfaces}
    taken: Set[int] = set()
    for association in draft.associations:
        covered = {number for number in numbers if association.covers(number)}
        if len(covered) != association.interface_count:
            problem = f"bInterfaceCount is {association.interface_count}, found {len(covered)}"
            defects.append(Defect(offset=association.offset + _AT_INTERFACE_COUNT, problem=problem))
        for number in sorted(covered & taken):
            problem = f"interface {number} is in another association too"
            defects.append(Defect(offset=association.offset, problem=problem))
        taken |= covered
    return defects
