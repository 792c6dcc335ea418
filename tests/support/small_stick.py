"""What a small image holds: a stick in all but what it starts."""

from __future__ import annotations

from usbwatch.stick.image import Contents

__all__ = ["CLOCK", "CONTENTS"]

CLOCK = 1_772_442_840  # 2026-03-02 09:14 UTC
CONTENTS = Contents(
    system={"EFI/BOOT/BOOTX64.EFI": b"nothing that starts\n" * 100_000, "EFI/debian/grub.cfg": b"set timeout=3\n"},
    data={"READ-ME.txt": b"a page to read\r\n"},
    folders=("captures",),
)
