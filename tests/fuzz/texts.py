"""Targets: the texts of the kernel and of a system's own files, from a copied tree, /dev/kmsg or /proc."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from fuzz.memory_tree import MemoryTree
from fuzz.structure import in_lines
from fuzz.target import Broken, Target, clean, told_apart

from usbwatch.capture.kernel_parameters import blacklists, switches
from usbwatch.capture.log import surveyed
from usbwatch.capture.modalias import built_in_aliases, kind_of, listed_aliases, matches, modules_for
from usbwatch.capture.modprobe_files import commands
from usbwatch.capture.origin import NOTE, origin
from usbwatch.capture.stream.log_words import log_news
from usbwatch.capture.stream.readings import supply_facts
from usbwatch.capture.unread import TooMuchUnread, noted
from usbwatch.cli.watch_memory import type_of
from usbwatch.model import Episode
from usbwatch.show.words import trouble_words

__all__ = ["LOGS", "TARGETS"]

_DATA = Path(__file__).parents[1] / "data"
_HUBS = {"1": "pci0000:00/14.0/usb2", "2": "pci0000:00/14.0/usb3"}
_STRETCHED = 200_000
"""Characters of a text that repeats one input over and over: what takes the square of its length shows there."""

LOGS = tuple(
    "".join(f"{line}\n" for line in lines).encode()
    for lines in (
        ("[    0.000000] Linux version 6.1.0", "[    1.000000] usb 1-5: device descriptor read/8, error -71"),
        (
            "[    1.5] usb 1-5: new full-speed USB device number 4 using xhci_hcd",
            "[    1.600000] usb 1-5: Product: Larch Camera",
            "[    2.000000] usb usb1-port5: unable to enumerate USB device",
            "[    3.000000] hub 1-0:1.0: over-current change on port 2",
        ),
        (
            "<6>[    1.000000] i8042: No controller found",
            "<3>[    2.000000] i2c_hid_acpi i2c-PNP0C50:00: hid_descr_cmd failed",
        ),
        (
            "6,339,5140900,-;NET: Registered protocol family 10",
            " SUBSYSTEM=usb",
            " DEVICE=c189:1",
            "30,340,5690716,-;udevd[80]: starting",
        ),
        ('{"dmesg": [{"pri": 6, "time": 1.5, "msg": "usb 1-5: device descriptor read/8, error -71"}]}',),
        (
            '{"MESSAGE":"usb 1-5: error -71","_TRANSPORT":"kernel","_BOOT_ID":"a","_SOURCE_MONOTONIC_TIMESTAMP":"15"}',
            '{"MESSAGE":[117,115,98],"_TRANSPORT":"kernel"}',
        ),
        (
            "__CURSOR=x",
            "_TRANSPORT=kernel",
            "MESSAGE=usb 1-5: USB disconnect, device number 4",
            "",
            "_TRANSPORT=kernel",
            "MESSAGE",
            "\x05\0\0\0\0\0\0\0usb 1",
            "",
        ),
        ("Mar  2 09:14:00 bench kernel: [    1.000000] usb 1-5: device descriptor read/8, error -71",),
        ("2026-03-02T09:14:00.000000+00:00 bench kernel: usb 1-5: USB disconnect, device number 4",),
    )
)


def _log_seeds() -> Iterable[bytes]:
    yield from LOGS
    for path in sorted((_DATA / "kernel-log").glob("*.txt")):
        yield path.read_bytes()[:3000]


def _episodes(found: Iterable[Episode]) -> None:
    for one in found:
        if one.count < 1:
            raise Broken(f"an episode of {one.count}: {one}")
        clean(trouble_words(one))


def _log(data: bytes) -> None:
    text = data.decode("utf-8", "backslashreplace")
    told = surveyed(text, _HUBS)
    clean(told.lost)
    _episodes(told.episodes)


def _stretched_log(data: bytes) -> None:
    head, body = told_apart(data, 2)
    text = (body or b"x").decode("utf-8", "backslashreplace")
    surveyed(head.decode("utf-8", "backslashreplace") + text * (_STRETCHED // len(text)), _HUBS)


def _news(data: bytes) -> None:
    list(log_news(data.decode("ascii", "backslashreplace"), 5, _HUBS))


def _aliases(data: bytes) -> None:
    listed, built_in, *modaliases = (part.decode("utf-8", "replace") for part in told_apart(data, 4))
    kinds = sorted({kind_of(one) for one in modaliases} - {""})
    modules_for([*listed_aliases(listed, kinds), *built_in_aliases(built_in)], modaliases)
    matches(listed, built_in)


def _modprobe(data: bytes) -> None:
    for one in commands(data.decode("utf-8", "replace")):
        clean(one)


def _command_line(data: bytes) -> None:
    text = data.decode("utf-8", "replace")
    clean(" ".join(switches(text)))
    clean(" ".join(one.module for one in blacklists(text)))


def _manifest(data: bytes) -> None:
    try:
        unread = noted(data, lambda path: path or None)
    except TooMuchUnread as error:
        clean(str(error))
        return
    for path in ("", "sys", "sys/bus"):
        unread.names(path)
        unread.stands(path)


def _note(data: bytes) -> None:
    clean(origin(MemoryTree({NOTE: data})).taken_at)


TARGETS = (
    Target(name="kernel-log", run=_log, seeds=_log_seeds, share=6, mutate=in_lines),
    Target(
        name="kernel-log-stretched",
        run=_stretched_log,
        seeds=lambda: [b"\xff" + one[:300] for one in LOGS],
        share=3,
        largest=400,
    ),
    Target(name="kernel-log-live", run=_news, seeds=lambda: LOGS[3:4], share=2, mutate=in_lines),
    Target(
        name="module-aliases",
        run=_aliases,
        seeds=lambda: [
            b"alias usb:v1209p0001d*dc*ic03* x-y\n\xffy.alias=pci:v*[0-9a-f]?\0\xffusb:v1209p0001d0dc0ic03\xffpci:v0"
        ],
        share=2,
    ),
    Target(name="modprobe-files", run=_modprobe, seeds=lambda: [b"blacklist a-b\\\n c\ninstall x /bin/false\n# c\n"]),
    Target(
        name="kernel-command-line",
        run=_command_line,
        seeds=lambda: [b'quiet module_blacklist=a,b-c i8042.nokbd pci=noacpi "x y"'],
    ),
    Target(
        name="supply-uevent",
        run=lambda data: supply_facts(data.decode("utf-8", "replace")),
        seeds=lambda: [b"POWER_SUPPLY_PRESENT=1\nPOWER_SUPPLY_CHARGE_NOW=-25\n"],
    ),
    Target(
        name="unread-manifest",
        run=_manifest,
        seeds=lambda: [b"sys/a/b\tEACCES\nsys/c\tcat: x: Permission denied\n"],
        mutate=in_lines,
    ),
    Target(name="taken-note", run=_note, seeds=lambda: [b"taken_at 2026-03-02T09:14:00Z\nprivileged yes\n"]),
    Target(
        name="mounts",
        run=lambda data: type_of("/a/b", data.decode("utf-8", "surrogateescape")),
        seeds=lambda: [b"/dev/a / ext4 rw 0 0\nx /a\\040b tmpfs rw 0 0\n"],
    ),
)
