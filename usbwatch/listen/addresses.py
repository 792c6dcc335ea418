"""The addresses of the bench computer itself, as a unit could reach them: for whoever listens at all of them."""

from __future__ import annotations

import ipaddress
import socket
import struct
import sys
from collections.abc import Iterator
from pathlib import Path

__all__ = ["own_addresses"]

_SIOCGIFADDR = 0x8915
"""linux/sockios.h: the first address of an interface, netdevice(7)."""
_NAME_BYTES, _REQUEST_BYTES = 16, 40
_ADDRESS = slice(20, 24)
"""Of struct ifreq: 16 bytes of name, a struct sockaddr_in with the address at its fifth byte."""
_SOMEWHERE = {4: "192.0.2.1", 6: "2001:db8::1"}
"""Addresses that nobody has (RFC 5737, RFC 3849): a datagram socket that is connected to one sends nothing."""
_MOST = 8


def own_addresses(version: int) -> tuple[str, ...]:
    """The bench computer's own addresses of IP version 4 or 6 that another computer can use; eight at most.

    First the one by which it reaches other networks, then those of its
    interfaces (a cable to a unit has no way to other networks), then what its
    name stands for. Empty where there is none, or none is found.
    """
    sources = (_outward(version), _of_interfaces(version), _of_name(version))
    found = (address for source in sources for address in source)
    return tuple(dict.fromkeys(address for address in found if _of_use(address)))[:_MOST]


def _of_use(address: str) -> bool:
    its = ipaddress.ip_address(address)
    # An IPv6 address of one link is told only with that link's name on the unit, which nobody knows here.
    return not (its.is_loopback or its.is_unspecified or its.is_multicast or (its.version == 6 and its.is_link_local))  # noqa: PLR2004


def _family(version: int) -> socket.AddressFamily:
    return socket.AF_INET if version == 4 else socket.AF_INET6  # noqa: PLR2004


def _outward(version: int) -> Iterator[str]:
    """The address that the system would send from."""
    try:
        with socket.socket(_family(version), socket.SOCK_DGRAM) as one:
            one.connect((_SOMEWHERE[version], 9))
            yield str(one.getsockname()[0])
    except OSError:  # no network
        return


def _of_interfaces(version: int) -> Iterator[str]:
    if sys.platform != "linux":
        return
    yield from _of_links() if version == 4 else _of_table()  # noqa: PLR2004


def _of_links() -> Iterator[str]:
    """The first IPv4 address of each interface."""
    import fcntl

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        for _, name in socket.if_nameindex():
            request = struct.pack(f"{_REQUEST_BYTES}s", name.encode()[: _NAME_BYTES - 1])
            try:
                answer = fcntl.ioctl(one.fileno(), _SIOCGIFADDR, request)
            except OSError:  # it has none
                continue
            yield socket.inet_ntoa(answer[_ADDRESS])


def _of_table() -> Iterator[str]:
    """The IPv6 addresses: 32 digits at the beginning of each line (proc(5), ``/proc/net/if_inet6``)."""
    try:
        rows = Path("/proc/net/if_inet6").read_text(encoding="ascii").splitlines()
    except OSError:
        return
    yield from (str(ipaddress.IPv6Address(bytes.fromhex(row.split()[0]))) for row in rows)


def _of_name(version: int) -> Iterator[str]:
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, _family(version), socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        return
    named = (str(one[4][0]).partition("%")[0] for one in found)
    yield from (address for address in named if _is_here(address, version))


def _is_here(address: str, version: int) -> bool:
    """Whether it is an address of this computer: a name may stand for another's."""
    try:
        with socket.socket(_family(version), socket.SOCK_DGRAM) as one:
            one.bind((address, 0))
    except OSError:
        return False
    return True
