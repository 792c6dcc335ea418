"""``docs/seen.md`` is what captures of the real kernel's snapshots give, and its figures are right.

The figures are counted here from the archives' lists of names, links and short
texts alone; nothing of the readers, of a tree or of a location is used.
"""

from __future__ import annotations

import posixpath
import re
import tarfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.golden import assert_golden
from support.make_seen import ARCHIVES, page

_RealTree = Callable[[str], Path]
DOCS = Path(__file__).parents[2] / "docs"
SNAPSHOTS = sorted(path.name.removesuffix(".tar.xz") for path in ARCHIVES.glob("*.tar.xz"))
_LONGEST_TEXT = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Archive:
    """What an archive lists: names below the snapshot's folder, where links lead, and what short files hold."""

    names: frozenset[str]
    links: dict[str, str]
    texts: dict[str, str]

    def entries(self, folder: str) -> list[str]:
        return sorted(name.rpartition("/")[2] for name in self.names if name.rpartition("/")[0] == folder)

    def devices(self, folder: str, shape: str = "") -> list[str]:
        """Entries whose link leads to hardware: all of ``/sys/devices`` but ``virtual``."""
        leads = {name: self.links.get(f"{folder}/{name}", "sys/devices") for name in self.entries(folder)}
        return [
            name
            for name, path in leads.items()
            if not path.startswith("sys/devices/virtual/") and re.match(shape, name)
        ]

    def text(self, path: str) -> str:
        folder, _, name = path.rpartition("/")
        return self.texts.get(f"{self.links.get(folder, folder)}/{name}", "").strip()


def _listed(path: Path) -> Archive:
    names, links, texts = set(), {}, {}
    with tarfile.open(path) as archive:
        for one in archive:
            name = one.name.partition("/")[2]
            names.add(name)
            if one.issym():
                links[name] = posixpath.normpath(posixpath.join(posixpath.dirname(name), one.linkname))
            file = archive.extractfile(one) if one.isfile() and one.size < _LONGEST_TEXT else None
            texts[name] = file.read().decode("utf-8", "replace") if file else ""
    return Archive(names=frozenset(names), links=links, texts=texts)


@pytest.fixture(scope="module")
def archives() -> dict[str, Archive]:
    return {name: _listed(ARCHIVES / f"{name}.tar.xz") for name in SNAPSHOTS}


# --- counting ------------------------------------------------------------------------

_DMI = "sys_vendor product_name product_version product_sku product_family product_serial board_vendor board_name \
board_version bios_version chassis_type"
_STAMP = re.compile(r"\[ *(\d+\.\d+)\] ")
_KEPT_OF_SMBIOS = {"2", "3", "8", "9", "10", "17", "21", "22", "41"}
"""DSP0134: baseboard, enclosure, port connector, slot, onboard devices, memory, pointing device, battery"""


def _usb(archive: Archive) -> int:
    """Devices and interfaces have an entry each; ports are folders of a hub's interface."""
    ports = [name for name in archive.names if re.search(r"/(usb\d+|\d+-[\d.]+)-port\d+\Z", name)]
    folders = [name for name in ports if name.startswith("sys/devices/") and name not in archive.links]
    return len(archive.entries("sys/bus/usb/devices")) + len(folders)


def _acpi(archive: Archive) -> int:
    """Objects that have a hardware id."""
    folder = "sys/bus/acpi/devices"
    return sum(bool(archive.text(f"{folder}/{name}/hid")) for name in archive.entries(folder))


def _smbios(archive: Archive) -> int:
    """The table, and the records of it that are kept."""
    kinds = [name.partition("-")[0] for name in archive.entries("sys/firmware/dmi/entries")]
    return 1 + sum(kind in _KEPT_OF_SMBIOS for kind in kinds)


def _block(archive: Archive) -> int:
    """Disks, not the parts that they are divided into."""
    folder = "sys/class/block"
    return sum(not archive.text(f"{folder}/{name}/partition") for name in archive.devices(folder))


def _log(archive: Archive) -> int:
    """Lines in the order of their stamps."""
    latest, used = 0.0, 0
    for line in archive.texts["meta/dmesg.txt"].splitlines():
        stamp = _STAMP.match(line)
        if stamp and float(stamp.group(1)) >= latest:
            latest, used = float(stamp.group(1)), used + 1
    return used


def _entries(folder: str) -> Callable[[Archive], int]:
    return lambda archive: len(archive.entries(folder))


def _devices(folder: str, shape: str = "") -> Callable[[Archive], int]:
    return lambda archive: len(archive.devices(folder, shape))


COUNTS: dict[str, Callable[[Archive], int]] = {
    "dmi": lambda archive: sum(bool(archive.text(f"sys/class/dmi/id/{name}")) for name in _DMI.split()),
    "smbios": _smbios,
    "acpi": _acpi,
    "pci": _entries("sys/bus/pci/devices"),
    "usb": _usb,
    "serio": _entries("sys/bus/serio/devices"),
    "i2c": _entries("sys/bus/i2c/devices"),
    "spi": _entries("sys/bus/spi/devices"),
    "hid": _entries("sys/bus/hid/devices"),
    "input": _devices("sys/class/input", r"input\d+\Z"),
    "power_supply": _devices("sys/class/power_supply"),
    "drm": _devices("sys/class/drm", r"card\d+-"),
    "nvme": _devices("sys/class/nvme"),
    "block": _block,
    "hdaudio": _entries("sys/bus/hdaudio/devices"),
    "sound": _devices("sys/class/sound", r"card\d+\Z"),
    "video": _devices("sys/class/video4linux"),
    "net": _devices("sys/class/net"),
    "bluetooth": _devices("sys/class/bluetooth", r"hci\d+\Z"),
    "rfkill": _devices("sys/class/rfkill"),
    "log": _log,
    "modules": lambda archive: len(archive.texts["meta/proc-modules.txt"].splitlines()),
}


# --- the page ------------------------------------------------------------------------


def _tables(text: str) -> Iterator[tuple[str, dict[str, list[str]]]]:
    """Each snapshot's rows by bus."""
    for section in text.split("\n## ")[1:]:
        lines = section.splitlines()
        rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("| ")]
        yield lines[0], {row[0]: row[1:] for row in rows[1:] if not row[0].startswith("---")}


@pytest.fixture(scope="module")
def tables() -> dict[str, dict[str, list[str]]]:
    return dict(_tables((DOCS / "seen.md").read_text(encoding="utf-8")))


def test_the_page_is_what_captures_give(real_tree: _RealTree) -> None:
    """``USBWATCH_RENEW_GOLDEN=1`` renews it, and so does ``python -m support.make_seen docs/seen.md``."""
    assert_golden(DOCS, "seen.md", page({name: real_tree(name) for name in SNAPSHOTS}))


def test_every_snapshot_is_on_the_page(tables: dict[str, dict[str, list[str]]]) -> None:
    assert sorted(tables) == SNAPSHOTS
    assert len(SNAPSHOTS) >= 7


@pytest.mark.parametrize("bus", COUNTS)
def test_a_figure_is_what_the_archive_lists(
    archives: dict[str, Archive], tables: dict[str, dict[str, list[str]]], bus: str
) -> None:
    shown = {name: int(tables[name][bus][1]) for name in SNAPSHOTS}
    assert shown == {name: COUNTS[bus](archives[name]) for name in SNAPSHOTS}


@pytest.mark.parametrize("snapshot", SNAPSHOTS)
def test_what_is_not_there_is_in_no_folder_of_the_archive(archives: dict[str, Archive], snapshot: str) -> None:
    """And the other way round: what has a folder is not called "not there"."""
    text = (DOCS / "seen.md").read_text(encoding="utf-8")
    line = text.partition(f"## {snapshot}\n")[2].partition("Not there: ")[2].partition(".\n")[0]
    absent = line.split(", ")
    names = archives[snapshot].names
    assert absent
    assert [bus for bus in absent if {f"sys/bus/{bus}", f"sys/class/{bus}"} & names] == []
    assert not set(absent) & set(COUNTS)


def test_empty_is_what_has_a_folder_and_nothing_in_it(
    archives: dict[str, Archive], tables: dict[str, dict[str, list[str]]]
) -> None:
    for name, rows in tables.items():
        empty = [bus for bus, row in rows.items() if row[0] == "empty"]
        assert "spi" in empty
        assert all({f"sys/bus/{bus}", f"sys/class/{bus}"} & archives[name].names for bus in empty)


PARTS = [
    ("healthy", "usb", {"bluetooth", "camera", "keyboard", "smart-card-reader", "touchpad"}, set()),
    ("keyboard-missing", "usb", {"camera", "touchpad"}, {"keyboard"}),
    ("keyboard-touchpad-missing", "usb", {"camera"}, {"keyboard", "touchpad"}),
    ("touchpad-enumeration-failure", "usb", {"camera", "keyboard"}, {"touchpad"}),
    ("external-devices", "usb", {"camera", "keyboard", "touchpad"}, {"mouse"}),
    ("internal-hub-missing", "usb", {"bluetooth", "camera"}, {"keyboard", "smart-card-reader", "touchpad"}),
    ("healthy", "power_supply", {"battery", "mains-adapter"}, set()),
    ("battery-not-present", "power_supply", {"mains-adapter"}, {"battery"}),
    ("battery-not-present", "acpi", {"battery (absent)"}, {"battery"}),
]


@pytest.mark.parametrize(("snapshot", "bus", "there", "gone"), PARTS, ids=lambda value: str(value)[:30])
def test_the_unit_shows_the_parts_that_its_fault_leaves(
    tables: dict[str, dict[str, list[str]]], snapshot: str, bus: str, there: set[str], gone: set[str]
) -> None:
    """By the table in ``tests/data/trees/README.md``, which says what was done to the laptop."""
    parts = {part.partition(" x")[0] for part in tables[snapshot][bus][2].split(", ")}
    assert there <= parts
    assert not gone & parts
