"""What is refused as a target, by a small copy of what a kernel tells of its disks (sysfs, mountinfo, swaps)."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest
from support.loops import loop, node
from support.needs import needed_tool

from usbwatch.errors import CannotWriteStick
from usbwatch.show import plain
from usbwatch.show.stick_view import next_steps, target_view
from usbwatch.stick.devices import Machine, Part, Target, examined, removable

STICK = (8, 240)
"""The number of a disk of the SCSI kind (the kernel's devices.txt: block major 8); nothing here has it."""


def put(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text + "\n")


def told(folder: Path) -> Machine:
    """A kernel that tells of one stick, sdp, with one partition."""
    disk = folder / "sys" / "devices" / "pci0000:00" / "usb1" / "block" / "sdp"
    for name, text in {
        "dev": "8:240", "size": "31116288", "removable": "1", "ro": "0",
        "queue/logical_block_size": "512", "device/vendor": "Invented", "device/model": "Stick",
        "sdp1/dev": "8:241", "sdp1/partition": "1", "sdp1/size": "2048",
    }.items():  # fmt: skip
        put(disk / name, text)
    (disk / "holders").mkdir()
    (disk / "sdp1" / "holders").mkdir()
    links = folder / "sys" / "dev" / "block"
    links.mkdir(parents=True)
    (links / "8:240").symlink_to(disk)
    (links / "8:241").symlink_to(disk / "sdp1")
    put(folder / "proc" / "self" / "mountinfo", "22 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda rw")
    put(folder / "proc" / "swaps", "Filename Type Size Used Priority")
    return Machine(sys=folder / "sys", proc=folder / "proc")


def disk(machine: Machine) -> Path:
    return (machine.sys / "dev" / "block" / "8:240").resolve()


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return told(tmp_path)


def test_a_stick_is_told_with_its_model_size_and_partitions(machine: Machine, tmp_path: Path) -> None:
    path = node(tmp_path / "stick", *STICK)
    assert examined(path, machine) == Target(
        path=path, number=STICK, name="sdp", model="Invented Stick", size=31116288 * 512,
        parts=(Part(name="sdp1", size=2048 * 512),),
    )  # fmt: skip


def test_what_is_plugged_in_is_named(machine: Machine) -> None:
    (machine.sys / "block").mkdir()
    (machine.sys / "block" / "sdp").symlink_to(disk(machine))
    assert removable(machine) == (("/dev/sdp", "Invented Stick", 31116288 * 512),)
    shown = " ".join(plain(next_steps("my bench.img", removable(machine)), 80).split())
    assert "stick 'my bench.img' --write /dev/sdX (plugged in now: /dev/sdp is Invented Stick, 15.9 GB)" in shown
    put(disk(machine) / "removable", "0")
    assert removable(machine) == ()
    assert "(no stick is plugged in now)" in " ".join(plain(next_steps("x", ()), 80).split())


REFUSED = {
    "a partition": ({}, (8, 241), "is a partition of sdp, and a stick is written whole; name /dev/sdp"),
    "a disk that stays": ({"sys:removable": "0"}, STICK, "is not removable"),
    "write-protected": ({"sys:ro": "1"}, STICK, "is write-protected"),
    "large sectors": ({"sys:queue/logical_block_size": "4096"}, STICK, "has sectors of another size"),
    "mounted as it is": (
        {"proc:self/mountinfo": "40 1 8:240 / /media/a\\040stick rw - vfat /dev/none rw"},
        STICK,
        "is in use: sdp is mounted at /media/a stick; umount '/media/a stick' first",
    ),
    "mounted at a name that would pass for another line": (
        {"proc:self/mountinfo": "40 1 8:240 / /media/a\\012usbwatch:\\040well rw - vfat /dev/none rw"},
        STICK,
        "sdp is mounted at /media/a\\x0ausbwatch: well; umount",
    ),
    "a reader without a card": ({"sys:size": "0"}, STICK, "has no medium in it; put a card or a stick in"),
    "a partition is mounted": (
        {"proc:self/mountinfo": "40 1 8:241 / /mnt rw - ext4 /dev/none rw"},
        STICK,
        "is in use: sdp1 is mounted at /mnt",
    ),
    "the system's own": (
        {"proc:self/mountinfo": "22 1 8:241 / / rw - ext4 /dev/none rw\n40 1 8:241 /x /mnt rw - ext4 /dev/none rw"},
        STICK,
        "is the system's own disk: sdp1 is mounted at /",
    ),
    "part of something else": ({"sys:sdp1/holders/dm-3/dev": "253:3"}, STICK, "is in use: sdp1 is part of dm-3"),
    "not told of": ({}, (8, 1), "the kernel tells nothing of this device"),
}


@pytest.mark.parametrize(("changes", "number", "sentence"), REFUSED.values(), ids=REFUSED)
def test_what_is_refused(
    changes: dict[str, str], number: tuple[int, int], sentence: str, machine: Machine, tmp_path: Path
) -> None:
    for name, text in changes.items():
        room, _, place = name.partition(":")
        put((disk(machine) if room == "sys" else machine.proc) / place, text)
    with pytest.raises(CannotWriteStick) as refused:
        examined(node(tmp_path / "stick", *number), machine)
    assert sentence in str(refused.value)


def test_a_file_system_with_a_number_of_its_own_is_known_by_the_device_that_it_names(
    machine: Machine, tmp_path: Path
) -> None:
    path = node(tmp_path / "stick", *STICK)
    put(machine.proc / "self" / "mountinfo", f"40 1 0:48 / /mnt rw - btrfs {path} rw")
    with pytest.raises(CannotWriteStick, match="sdp is mounted at /mnt"):
        examined(path, machine)


def test_what_the_system_swaps_to_is_refused(machine: Machine, tmp_path: Path) -> None:
    path = node(tmp_path / "stick", *STICK)
    put(machine.proc / "swaps", f"Filename Type Size Used Priority\n{path} partition 1000 0 -2")
    with pytest.raises(CannotWriteStick, match="swaps to sdp"):
        examined(path, machine)


@pytest.mark.parametrize(
    ("path", "sentence"),
    [
        ("/dev/null", "is no block device"),
        ("/tmp", "is a folder"),
        ("/dev/no-such-device", "there is no such device"),
        ("a\0b", "not a name that a device can have"),
    ],
)
def test_what_is_no_block_device_is_refused(path: str, sentence: str) -> None:
    with pytest.raises(CannotWriteStick) as refused:
        examined(path)
    assert sentence in str(refused.value)


def test_the_disk_that_this_system_runs_from_is_refused() -> None:
    of_root = Path("/").stat().st_dev
    path = Path("/sys/dev/block") / f"{of_root >> 8 & 0xFFF}:{of_root & 0xFF}"
    if not path.exists():
        pytest.skip("the root of this system is on no disk of its own")
    whole = path.resolve()
    if (whole / "partition").exists():
        whole = whole.parent
    with pytest.raises(CannotWriteStick, match="the system's own disk"):
        examined(f"/dev/{whole.name}")


def test_a_read_only_loop_device_is_refused(small_image: Path, tmp_path: Path) -> None:
    copy = shutil.copy(small_image, tmp_path / "file")
    with loop(Path(copy), read_only=True) as device, pytest.raises(CannotWriteStick, match="is write-protected"):
        examined(device)


def test_a_file_system_is_told_with_its_label(tmp_path: Path) -> None:
    needed_tool("blkid", "util-linux")
    file = tmp_path / "old"
    with file.open("wb") as empty:
        empty.truncate(40_000_000)
    subprocess.run([needed_tool("mkfs.vfat", "dosfstools"), "-n", "OLD PHOTOS", file], check=True, capture_output=True)
    with loop(file) as device:
        target = examined(device)
    # Loop devices count in sectors: the last part of one is not there.
    part = Part(name=Path(device).name, size=40_000_000 // 512 * 512, kind="vfat", label="OLD PHOTOS")
    assert target.parts == (part,)
    assert 'vfat, "OLD PHOTOS"' in plain(target_view(target), 100)


def test_no_name_on_a_device_reaches_the_screen_as_it_is(machine: Machine, tmp_path: Path) -> None:
    put(disk(machine) / "device" / "model", "good\x1b[2J\nusbwatch: all is well")
    target = examined(node(tmp_path / "stick", *STICK), machine)
    part = Part(name="sdp1", size=1, kind="vfat", label="\x1b]0;gone\x07\u202e")
    hostile = Target(
        path=target.path, number=target.number, name=target.name, model=target.model, size=1, parts=(part,)
    )
    text = plain(target_view(hostile), 80)
    assert not set(text) & set("\x1b\x07\u202e")
    assert "\\x1b[2J" in text
