"""Whether the record's file system is lost with the unit's power, from lines as proc_pid_mounts(5) has them."""

from __future__ import annotations

import pytest

from usbwatch.cli.watch_memory import type_of

LIVE = r"""overlay / overlay rw,lowerdir=/image,upperdir=/cow/upper,workdir=/cow/work 0 0
proc /proc proc rw 0 0
tmpfs /run tmpfs rw,nosuid 0 0
/dev/sdb1 /media/bench\040stick vfat rw 0 0
/dev/sda2 /mnt ext4 rw 0 0
tmpfs /mnt tmpfs rw 0 0
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/root/record.json", "overlay"),
        ("/run/record.json", "tmpfs"),
        ("/runner/record.json", "overlay"),
        ("/media/bench stick/record.json", "vfat"),
        ("/mnt/record.json", "tmpfs"),
    ],
)
def test_the_innermost_and_latest_mount_counts(path: str, kind: str) -> None:
    assert type_of(path, LIVE) == kind


def test_of_no_mounts_nothing_is_said() -> None:
    assert type_of("/root/record.json", "") == ""
    assert type_of("/root/record.json", "damaged\n\n / ") == ""
