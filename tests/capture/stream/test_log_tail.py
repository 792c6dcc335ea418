"""The kernel's log is its own device, and nothing that stands in its place (Documentation/admin-guide/devices.txt)."""

from __future__ import annotations

import errno
import sys
from pathlib import Path

import pytest

from usbwatch.capture.stream.log_tail import LogTail

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="the log is Linux's own")


@pytest.mark.parametrize("name", ["/dev/null", "/dev/zero", "a file"])
def test_what_stands_in_its_place_is_refused(tmp_path: Path, name: str) -> None:
    """Containers bind the null device there, or an empty file."""
    path = str(tmp_path / name)
    if path == str(tmp_path / "a file"):
        Path(path).write_text("6,1,1,-;x\n")
    before = len(list(Path("/proc/self/fd").iterdir()))
    with pytest.raises(OSError, match="something else stands in its place") as refused:
        LogTail(path)
    assert refused.value.errno == errno.ENODEV
    assert len(list(Path("/proc/self/fd").iterdir())) == before
