"""Where a unit can reach the bench that listens at all of its addresses."""

from __future__ import annotations

import ipaddress
import socket
from pathlib import Path

import psutil
import pytest

from usbwatch.cli.listening import Request, _where
from usbwatch.listen import addresses
from usbwatch.listen.addresses import own_addresses

_FAMILIES = {4: socket.AF_INET, 6: socket.AF_INET6}


@pytest.mark.parametrize("version", [4, 6])
def test_they_are_what_another_program_lists_for_each_interface(version: int) -> None:
    """The reference is psutil's list (getifaddrs(3)); one address of each interface at least is told."""
    found = own_addresses(version)
    by_interface = [
        {one.address for one in its if one.family == _FAMILIES[version] and _others_can_use(one.address)}
        for its in psutil.net_if_addrs().values()
    ]
    assert set(found) <= set().union(*by_interface)
    assert len(found) == 8 or all(set(found) & its for its in by_interface if its)
    assert len(set(found)) == len(found)


def _others_can_use(address: str) -> bool:
    return "%" not in address and not ipaddress.ip_address(address).is_loopback


def test_one_link_alone_or_this_computer_alone_is_no_address_for_a_unit(monkeypatch: pytest.MonkeyPatch) -> None:
    told = ["127.0.0.1", "::1", "fe80::1", "0.0.0.0", "ff02::1", "192.168.7.1", "169.254.3.4", "2001:db8::7"]
    monkeypatch.setattr(addresses, "_of_name", lambda _: iter(told))
    assert {*own_addresses(4), *own_addresses(6)} & set(told) == {"192.168.7.1", "169.254.3.4", "2001:db8::7"}


@pytest.mark.parametrize(
    ("address", "own", "said"),
    [
        ("192.168.7.1", ("192.0.2.9",), "listening at http://192.168.7.1:7613/capture for whoever"),
        ("0.0.0.0", ("192.0.2.9",), "listening at http://192.0.2.9:7613/capture for whoever"),
        (
            "0.0.0.0",
            ("192.0.2.9", "192.168.7.1"),
            "listening at http://192.0.2.9:7613/capture and http://192.168.7.1:7613/capture for whoever",
        ),
        ("::", ("2001:db8::7",), "listening at http://[2001:db8::7]:7613/capture for whoever"),
        ("0.0.0.0", (), "no address of this computer was found that a unit could use (IPv4)"),
    ],
)
def test_the_screen_shows_what_can_be_typed_on_the_unit(
    address: str, own: tuple[str, ...], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(addresses, "own_addresses", lambda _: own)
    request = Request(
        address=address, port=7613, folder=Path("in"), same_code=False, profile=None, full=False, as_json=False
    )
    shown = _where(request, 7613)
    assert said in shown
    assert not own or "0.0.0.0" not in shown
