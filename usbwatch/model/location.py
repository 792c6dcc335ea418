"""Where a node sits, in terms that do not change between boots.

A location is a path of hops from the host outward, so that what hangs on a
node has the node's location as its beginning:

==============================================  ==================================
``pci0000:00/14.0``                             PCI root bridge, device.function
``pci0000:00/1c.0/00.0``                        the same behind a PCI bridge
``pci0000:00/14.0/usb2/4.1``                    port chain 4.1 of the controller's
                                                USB 2 root hub (``usb3``: its
                                                SuperSpeed root hub)
``pci0000:00/14.0/usb2/4.1/if0``                interface 0 of that device
``acpi/_SB_.PCI0.I2C1.TPD0``                    a device that firmware names
``pci0000:00/15.0/i2c/2c``                      I2C controller, 7-bit address
``platform/i8042/kbd``                          PS/2 keyboard port
``usb2/4.1``                                    port chain 4.1 of a controller that
                                                the system does not tell
==============================================  ==================================

Bus numbers, device addresses and the order of enumeration never appear.
"""

from __future__ import annotations

from typing import Iterator, NewType

__all__ = ["Location", "hangs_on", "is_location", "outward", "parent_port", "port_chain", "same_port_chain"]

Location = NewType("Location", str)

_STARTS = ("pci", "acpi/", "platform/", "virtual/", "usb", "dmi")
_SEPARATORS = "/."


def is_location(text: str) -> bool:
    """Whether ``text`` has the shape of a location: printable hops from a known start."""
    return text.startswith(_STARTS) and text.isprintable() and " " not in text and not text.endswith("/")


def hangs_on(location: str, other: str) -> bool:
    """Whether ``location`` lies strictly beyond ``other``, seen from the host.

    >>> hangs_on("pci0000:00/14.0/usb2/4.1", "pci0000:00/14.0/usb2/4")
    True
    >>> hangs_on("pci0000:00/14.0/usb2/41", "pci0000:00/14.0/usb2/4")
    False
    """
    return len(location) > len(other) and location.startswith(other) and location[len(other)] in _SEPARATORS


def outward(location: str) -> Iterator[str]:
    """Every location on the way from ``location`` to the host, nearest first, itself left out.

    >>> list(outward("pci0000:00/14.0/usb2/4.1"))[:2]
    ['pci0000:00/14.0/usb2/4', 'pci0000:00/14.0/usb2']
    """
    place = location
    while place:
        place = place[: max(place.rfind("/"), place.rfind("."), 0)]
        if place:
            yield place


def parent_port(location: str) -> str:
    """The location of the hub port one hop nearer to the host, or "" at a root hub.

    >>> parent_port("pci0000:00/14.0/usb2/4.1")
    'pci0000:00/14.0/usb2/4'
    """
    head, _, chain = location.rpartition("/")
    return f"{head}/{chain.rpartition('.')[0]}" if "." in chain else ""


_ROOT_HUBS = ("usb1", "usb2", "usb3")


def port_chain(location: str) -> str:
    """A USB location without its controller: numbering and port chain; "" for any other, and at a root hub.

    >>> port_chain("pci0000:00/14.0/usb2/4.1")
    'usb2/4.1'
    >>> port_chain("usb2/4.1")
    'usb2/4.1'
    >>> port_chain("pci0000:00/14.0/usb2/4.1/if0")
    ''
    """
    root, _, chain = location.rpartition("/")
    numbering = root.rpartition("/")[2]
    return f"{numbering}/{chain}" if numbering in _ROOT_HUBS and chain[:1].isdigit() else ""


def same_port_chain(location: str, other: str) -> bool:
    """Whether two USB locations have the same port chain in the same numbering, whatever their controllers.

    A ``#2`` at the end, which tells nodes of one place apart, does not count.

    >>> same_port_chain("usb2/4.1#2", "pci0000:00/14.0/usb2/4.1")
    True
    >>> same_port_chain("usb3/4", "pci0000:00/14.0/usb2/4")
    False
    """
    chain = port_chain(location.partition("#")[0])
    return chain != "" and chain == port_chain(other.partition("#")[0])
