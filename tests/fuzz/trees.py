"""Targets: a machine's sysfs, with files, links and errors put otherwise; the same in a tar archive; a stick's disk."""

from __future__ import annotations

import errno
import functools
import gzip
import io
import posixpath
import struct
import tarfile
import uuid
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from fuzz.files import in_memory, written
from fuzz.memory_tree import MemoryTree, copied
from fuzz.target import Broken, Target, clean
from support import more_buses
from support.sysfs import build
from support.units import HERON, LARCH, PLOVER

from usbwatch.capture import ArchiveTree, Tree, copied_log, take, to_json
from usbwatch.capture.look import BUSES
from usbwatch.capture.origin import origin
from usbwatch.capture.saved import parse
from usbwatch.capture.stream.readings import Readings
from usbwatch.capture.watched_nodes import sources
from usbwatch.model import Capture, CoverageState
from usbwatch.onboard.helper_keyboards import helper_keyboards
from usbwatch.onboard.partition import data_partition
from usbwatch.show import capture_view, plain
from usbwatch.stick import gpt

__all__ = ["TARGETS", "archives"]

Content = dict[str, bytes | str | int]
_MOST_EDITS = 12
_STRINGS = 20
"""Files of a part that holds no more than what firmware calls the unit."""
_ERRORS = (errno.EACCES, errno.EPERM, errno.EIO, errno.ENODEV, errno.ENOENT, errno.ELOOP, errno.ETIMEDOUT, errno.EINVAL)


@functools.cache
def _machines() -> tuple[Content, ...]:
    """For each bus the part of three laptops' trees that its reader looks at; there is a part on every bus."""
    with TemporaryDirectory(dir=in_memory()) as folder:
        roots = [build(laptop, Path(folder, laptop.dmi["product_name"])) for laptop in (LARCH, HERON, PLOVER)]
        _more(roots[0])
        wholes = [copied(root) for root in roots]
    parts = [
        _about(content, inside, place)
        for content in wholes
        for inside in [_by_folder(content)]
        for _, place, _ in BUSES
    ]
    return tuple(part for part in parts if len(part) > _STRINGS)


def _more(root: Path) -> None:
    more_buses.card(root, "MMC", host=more_buses.pci_function(root, "1a.0", "080501", "sdhci-pci"), number=0)
    more_buses.typec_partner(root, more_buses.typec_port(root, 0))
    more_buses.thunderbolt(root, device=True)
    more_buses.soundwire_codec(root, "ATTACHED", driver="x")
    more_buses.light_sensor(root, "sys/devices/pci0000:00/0000:00:14.0", on_hid=False)
    more_buses.firmware_fan(root, rpm=2000)
    more_buses.chip_fan(root, 1000)
    more_buses.thermal_zone(root, 0, "x86_pkg_temp", 42_000)
    panel = root / "sys/devices/pci0000:00/0000:00:02.0/backlight/invented"
    panel.mkdir(parents=True)
    for name, text in (("brightness", "5"), ("max_brightness", "9"), ("type", "raw")):
        (panel / name).write_text(f"{text}\n")
    (root / "sys/class/backlight").mkdir(exist_ok=True)
    (root / "sys/class/backlight/invented").symlink_to("../../devices/pci0000:00/0000:00:02.0/backlight/invented")


def _by_folder(content: Content) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for path in content:
        found.setdefault(path.rpartition("/")[0], []).append(path)
    return found


def _about(content: Content, inside: dict[str, list[str]], folder: str) -> Content:
    """What stands in a bus's folder, what it links to, and all on the way to that."""
    entries = inside.get(folder, [])
    links = {path: one for path in entries if isinstance(one := content[path], str)}
    real = [posixpath.normpath(f"{posixpath.dirname(path)}/{one}") for path, one in links.items()]
    above = dict.fromkeys(place for one in real for place in _places_above(one))
    near = [path for place in (*above, "sys/class/dmi/id") for path in inside.get(place, [])]
    return {path: content[path] for path in (*near, *entries)}


def _places_above(path: str) -> Iterator[str]:
    while path.count("/") > 1:
        yield path
        path = path.rpartition("/")[0]


def _edited(data: bytes) -> Content:
    """A machine that the first byte picks, with edits: each which path, what is done there, and with what content.

    A path is told by two bytes, the deed by one, the length of the content by one.
    """
    machines = _machines()
    content = dict(machines[data[0] % len(machines)]) if data else {}
    paths = sorted(content)
    at = 1
    for _ in range(_MOST_EDITS):
        if at + 4 > len(data) or not paths:
            break
        path = paths[int.from_bytes(data[at : at + 2], "little") % len(paths)]
        deed, length = data[at + 2], data[at + 3]
        text = data[at + 4 : at + 4 + length]
        at += 4 + length
        _edit(content, path, deed, text)
    return content


def _edit(content: Content, path: str, deed: int, text: bytes) -> None:
    name = text.decode("utf-8", "surrogateescape").replace("\0", "")
    kind = deed % 8
    if kind < 3:
        content[path] = text * (300 if deed > 240 else 1)
    elif kind == 3:
        content[path] = name
    elif kind == 4:
        content[path] = _ERRORS[deed // 8 % len(_ERRORS)]
    elif kind == 5:
        content.pop(path, None)
    elif kind == 6 and name.strip("/"):
        content[f"{path.rpartition('/')[0]}/{name.strip('/')[:200]}"] = content.get(path, text)
    elif kind == 7:
        content[f"{path}/{name.strip('/')[:200] or 'x'}"] = text


def _looked_at(tree: Tree) -> Capture:
    """The capture, once it is in order, can be shown, and survives its file."""
    came = origin(tree)
    capture = take(tree, taken_at=came.taken_at, log=copied_log(tree), privileged=came.privileged)
    expected = {bus for bus, _, _ in BUSES}
    if not expected <= {one.bus for one in capture.coverage}:
        raise Broken("a bus is not accounted for")
    if any(one.nodes and one.state is CoverageState.NOT_THERE for one in capture.coverage):
        raise Broken("a bus that is not there has nodes")
    if parse(to_json(capture).encode(), "it") != capture:
        raise Broken("the file does not give back what was captured")
    clean(plain(capture_view(capture, "it"), 80))
    return capture


def _sysfs(data: bytes) -> None:
    tree = MemoryTree(_edited(data))
    capture = _looked_at(tree)
    sources(tree, capture)
    readings = Readings(tree, capture)
    for _ in range(2):
        readings.supplies(5)
        readings.displays(5)


def _sysfs_seeds() -> Iterable[bytes]:
    for number in range(len(_machines())):
        yield bytes([number])
        yield bytes([number, 5, 0, 0, 4]) + b"\x1b[2J" + bytes([9, 0, 4, 0, 17, 0, 6, 2]) + b"a\n"


def archives() -> Iterable[bytes]:
    """A few files in each form of tar, and two buses whole, packed."""
    for form, number in ((tarfile.PAX_FORMAT, 9), (tarfile.GNU_FORMAT, 12), (tarfile.USTAR_FORMAT, 17)):
        entries = [_entry(path, one) for path, one in sorted(_machines()[number].items())]
        yield _packed(entries[:12], form)
        yield gzip.compress(_packed(entries, form), mtime=0)
    yield gzip.compress(_packed([_entry("x/sys/class/dmi/id/product_name", b"Larch")], tarfile.PAX_FORMAT), mtime=0)


def _entry(path: str, content: bytes | str | int) -> tuple[tarfile.TarInfo, bytes]:
    info = tarfile.TarInfo(path)
    data = content if isinstance(content, bytes) else b""
    info.size = len(data)
    if isinstance(content, str):
        info.type, info.linkname = tarfile.SYMTYPE, content
    return info, data


def _packed(entries: Iterable[tuple[tarfile.TarInfo, bytes]], form: int) -> bytes:
    target = io.BytesIO()
    with tarfile.open(fileobj=target, mode="w", format=form, encoding="utf-8", errors="surrogateescape") as archive:
        for info, data in entries:
            archive.addfile(info, io.BytesIO(data))
    return target.getvalue().rstrip(b"\0") + bytes(1024 + 512)


_KINDS = (
    tarfile.REGTYPE,
    tarfile.LNKTYPE,
    tarfile.SYMTYPE,
    tarfile.CHRTYPE,
    tarfile.BLKTYPE,
    tarfile.DIRTYPE,
    tarfile.FIFOTYPE,
)
_NAMES = (
    "sys",
    "sys/bus",
    "../x",
    "/sys/bus",
    "a/../../b",
    "sys/" * 120 + "x",
    "sys/bus/" + "n" * 300,
    "\x1b[2J",
    "sys\n/bus",
    "\udcff",
    ".",
    "",
)


def _other_archive(data: bytes, chance: Random) -> bytes:
    """The archive written again with an entry changed, so that its sums hold."""
    try:
        with tarfile.open(fileobj=io.BytesIO(data)) as archive:
            entries = [
                (info, file.read() if (file := archive.extractfile(info)) else b"")
                for info in archive
                if info.size < 65_536
            ]
    except (tarfile.TarError, OSError, EOFError, ValueError, KeyError, RecursionError):
        return data
    if not entries:
        return data
    info, content = entries[at := chance.randrange(len(entries))]
    ways = chance.randrange(6)
    if ways == 0:
        info.name = chance.choice(_NAMES)
    elif ways == 1:
        info.type, info.linkname = chance.choice(_KINDS), chance.choice((*_NAMES, info.name))
    elif ways == 2:
        content = chance.choice((b"", b"\x1b[2J", content * 3, content[:-1], b"9" * 400))
    elif ways == 3:
        entries.insert(chance.randint(0, len(entries)), entries[at])
    elif ways == 4:
        info.pax_headers = {"path": chance.choice(_NAMES), "size": str(chance.choice((-1, 0, 10**12))), "x": "y" * 200}
    else:
        del entries[at]
    info.size = len(content)
    entries[at : at + 1] = [(info, content)] if at < len(entries) else []
    try:
        whole = _packed(entries, chance.choice((tarfile.PAX_FORMAT, tarfile.GNU_FORMAT)))
    except (ValueError, tarfile.TarError, OverflowError):
        return data
    return gzip.compress(whole, mtime=0) if chance.randrange(8) == 0 else whole


def _archive(data: bytes) -> None:
    _looked_at(ArchiveTree(written("tree.tar", data)))


def _gpt(data: bytes) -> None:
    """A table that is whole is fitted to any larger disk, and is whole there."""
    table = gpt.read_table(data.ljust(gpt.HEAD, b"\0"))
    head, _ = gpt.fitted(table, 1 << 20)
    gpt.read_table(head)


@functools.cache
def _stick() -> Path:
    """The root of a machine with one stick on USB, and an input node on it; the disk is written anew each time."""
    root = in_memory() / "machine"
    disk = root / "sys/devices/pci0000:00/0000:00:14.0/usb1/1-1/host0/block/sda"
    (disk / "sda1").mkdir(parents=True)
    (disk / "sda1/partition").write_text("1\n")
    node = root / "sys/devices/pci0000:00/0000:00:14.0/usb1/1-1/input/input5"
    (node / "capabilities").mkdir(parents=True)
    for place, leads in ((root / "sys/block/sda", disk), (root / "sys/class/input/input5", node)):
        place.parent.mkdir(parents=True)
        place.symlink_to(leads)
    (root / "dev").mkdir()
    sector = bytearray(512)
    sector[71:90], sector[510:] = b"USBWATCH   FAT32   ", b"\x55\xaa"
    (root / "dev/sda1").write_bytes(sector)
    return root


def _partition(data: bytes) -> None:
    root = _stick()
    (root / "dev/sda").write_bytes(data)
    (root / "sys/block/sda/sda1/uevent").write_bytes(b"DEVNAME=sda1\n" + data[-40:])
    (root / "sys/block/sda/sda1/partition").write_bytes(data[-3:] or b"1")
    (root / "sys/class/input/input5/capabilities/key").write_bytes(data[-60:])
    data_partition(str(uuid.UUID(int=1)), str(root))
    helper_keyboards((), str(root))


def _other_table(data: bytes, chance: Random) -> bytes:
    """The table with some bytes of its header and entries changed, and its two sums right again."""
    whole = bytearray(data.ljust(gpt.HEAD, b"\0"))
    for _ in range(chance.randint(1, 3)):
        whole[chance.choice((range(512, 604), range(1024, 1300)))[chance.randrange(92)]] = chance.choice(
            (0, 1, 2, 128, 255)
        )
    count, each = struct.unpack_from("<II", whole, 512 + 80)
    struct.pack_into("<I", whole, 512 + 88, zlib.crc32(whole[1024 : 1024 + min(count * each, 1 << 20)]))
    struct.pack_into("<I", whole, 512 + 16, 0)
    struct.pack_into("<I", whole, 512 + 16, zlib.crc32(whole[512 : 512 + 92]))
    return bytes(whole)


TARGETS = (
    Target(name="sysfs", run=_sysfs, seeds=_sysfs_seeds, share=12, largest=1500),
    Target(name="tree-archive", run=_archive, seeds=archives, share=6, mutate=_other_archive, largest=16_384),
    Target(name="stick-table", run=_gpt, seeds=lambda: [_table()], refuses=(gpt.NotWholeError,), largest=gpt.HEAD),
    Target(name="stick-finding", run=_partition, seeds=lambda: [_table()], mutate=_other_table, largest=gpt.HEAD),
)


def _table() -> bytes:
    """A table of ours for a small disk."""
    blank = gpt.Table(
        disk_guid="c12a7328-f81f-11d2-ba4b-00a0c93ec93b",
        sectors=9,
        first_usable=34,
        head=bytes(510) + b"\x55\xaa" + bytes(gpt.HEAD - 512),
    )
    return gpt.fitted(blank, 1 << 16)[0]
