"""Capturing: beside the bare reading of the same files, and beside libraries that list what is there."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from benchmarks.capture_cost import Recorded, bare, capture_of
from benchmarks.localise_cost import cpu_ms
from benchmarks.table.row import Row
from usbwatch.capture import CopiedTree, LiveTree, Tree

__all__ = ["rows"]


def rows(copied: str, rounds: int) -> Iterator[Row]:
    """Of a copied tree, and of this machine."""
    yield from _beside_reading("capture of a copied tree", lambda: CopiedTree(copied), copied, rounds)
    yield from _beside_reading("capture of this machine", LiveTree, "", rounds)
    yield from _beside_udev(rounds)
    yield from _beside_libusb(rounds)


def _beside_reading(job: str, opened: Callable[[], Tree], root: str, rounds: int) -> Iterator[Row]:
    recorded = Recorded(opened())
    nodes = len(capture_of(recorded).nodes)
    distinct = list(dict.fromkeys(recorded.asked))
    cost = cpu_ms(
        {
            "ours": lambda: capture_of(opened()),
            "plain open": lambda: bare(f"{root}/", distinct, -1),
            "unbuffered": lambda: bare(f"{root}/", distinct, 0),
        },
        rounds,
    )
    for peer, bar in (("plain open", 2.0), ("unbuffered", None)):
        note = f"{nodes} nodes, {len(distinct)} files, folders and links"
        yield Row(
            job=job, ours=cost["ours"], peer=f"bare reading of the same, {peer}", peers=cost[peer], bar=bar, note=note
        )


def _beside_udev(rounds: int) -> Iterator[Row]:
    import pyudev

    def enumerated() -> list[dict[str, str]]:
        return [dict(device.properties) for device in pyudev.Context().list_devices()]

    count = len(enumerated())
    cost = cpu_ms({"ours": lambda: capture_of(LiveTree()), "peer": enumerated}, rounds)
    note = f"{count} devices there" if count else "this machine shows it no device"
    yield Row(
        job="capture of this machine",
        ours=cost["ours"],
        peer="pyudev: every device and its properties",
        peers=cost["peer"],
        note=note,
    )


def _beside_libusb(rounds: int) -> Iterator[Row]:
    import libusb_package
    import usb.core

    from usbwatch.capture.portable import take_portable

    backend = libusb_package.get_libusb1_backend()

    def enumerated() -> list[object]:
        return list(usb.core.find(find_all=True, backend=backend) or ())

    count = len(enumerated())
    cost = cpu_ms({"ours": lambda: take_portable(taken_at="", privileged=False), "peer": enumerated}, rounds)
    note = f"{count} devices there" if count else "no USB device on this machine: what is measured is the way there"
    yield Row(
        job="capture through libusb",
        ours=cost["ours"],
        peer="pyusb: every device's descriptors",
        peers=cost["peer"],
        note=note,
    )
