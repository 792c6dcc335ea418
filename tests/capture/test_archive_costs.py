"""What reading a tar archive may cost, whatever is in it."""

from __future__ import annotations

import gzip
import subprocess
import sys
import tarfile
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest
from support.tar_streams import END, GOOD, PLAIN, header, member, tar_of

pytestmark = pytest.mark.slow

_MOST_KIB = 400 * 1024
"""KiB of memory that an archive may cost at most, whatever is in it; the interpreter and the program included."""


def _deep_folders(count: int) -> bytes:
    return b"".join(
        header(b"x", b"L", b"%o" % 250) + (b"%d/" % n + b"d/" * 90).ljust(512, b"\0") + header(b"y", b"0", b"0")
        for n in range(count)
    )


def _manifest(*lines: str) -> tuple[tarfile.TarInfo, bytes]:
    return member("meta/unread.txt", "\n".join(lines).encode())


def _far_links() -> bytes:
    """Short names that lead over one link to places 4,000 bytes away, each named as unread and asked for."""
    far = member("sys/far", type=tarfile.SYMTYPE, linkname="/".join(["f" * 50] * 80))
    devices = (
        member(f"sys/bus/usb/devices/{n}-1", type=tarfile.SYMTYPE, linkname="../../../far/x") for n in range(40_000)
    )
    manifest = _manifest(*(f"sys/far/{n}/x\tEIO" for n in range(1_500)))
    return tar_of(*GOOD, far, *devices, manifest)


_LONG_WAY = "/".join(["\u4e2d" * 250] * 8)

_COSTLY: dict[str, tuple[Callable[[], bytes], str]] = {
    "a gzip bomb": (
        lambda: gzip.compress(PLAIN[:-1024] + bytes(512) + bytes(300 * 1024 * 1024), 1),
        "far more than a unit's tree",
    ),
    "too many entries": (
        lambda: b"".join(header(b"sys/bus/%d" % n, b"0", b"0") for n in range(200_001)) + END,
        "more than 200000 entries",
    ),
    "too much content": (
        lambda: b"".join(header(b"sys/%d" % n, b"0", b"%o" % 2**20) + bytes(2**20) for n in range(65)),
        "more than 64 MiB together",
    ),
    "deep folders": (lambda: _deep_folders(20_000), "more than 200000 entries"),
    "deep folders and much content": (
        lambda: (
            _deep_folders(2_100)
            + b"".join(header(b"sys/%d" % n, b"0", b"%o" % 2**20) + bytes(2**20) for n in range(63))
            + tar_of(*GOOD)
        ),
        "",
    ),
    "deep paths that could not be read": (
        lambda: tar_of(*GOOD, _manifest(*(f"sys/{n:x}/{'/'.join('a' * 97)}\tEIO" for n in range(20_281)))),
        "meta/unread.txt names more than a unit has",
    ),
    "long paths that could not be read": (
        lambda: tar_of(*GOOD, _manifest(*(f"sys/{n:x}/{_LONG_WAY}\tEIO" for n in range(1_000)))),
        "meta/unread.txt names more than a unit has",
    ),
    "links that lead far": (_far_links, ""),
    "long link targets": (
        lambda: tar_of(*GOOD, *(member(f"sys/{n}", type=tarfile.SYMTYPE, linkname="t" * 4000) for n in range(17_000))),
        "more than 64 MiB",
    ),
    "link targets beyond any": (
        lambda: tar_of(*GOOD, member("sys/l", type=tarfile.SYMTYPE, linkname="t" * 60_000)),
        "a link with a longer target",
    ),
    "long names": (
        lambda: tar_of(*GOOD, *(member(f"sys/{n:06}" + "\U0001f4bb" * 240, b"") for n in range(12_000))),
        "",
    ),
}


@pytest.mark.parametrize(("made", "told"), _COSTLY.values(), ids=_COSTLY)
def test_no_archive_costs_more_memory_than_a_bound(tmp_path: Path, made: Callable[[], bytes], told: str) -> None:
    """Refused, or read and looked at as a whole."""
    path = tmp_path / "unit.tar"
    content = made()
    path.write_bytes(content if content.startswith(b"\x1f\x8b") else gzip.compress(content, 1))
    code = textwrap.dedent("""
        import sys
        from pathlib import Path
        from usbwatch.capture import ArchiveTree, take
        from usbwatch.errors import BadTree
        try:
            take(ArchiveTree(sys.argv[1]), taken_at="")
            said = ""
        except BadTree as error:
            said = str(error)
        print(Path("/proc/self/status").read_text().partition("VmHWM:")[2].split()[0], said)
    """)
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    peak, _, said = done.stdout.partition(" ")
    assert told in said
    assert said.count("\n") == 1
    assert bool(told) == bool(said.strip()), said
    assert 1000 < int(peak) <= _MOST_KIB, said
