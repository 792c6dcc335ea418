"""The shell script of the kit: its text with what the readers ask for put in."""

from __future__ import annotations

from importlib.resources import files

from usbwatch import __version__
from usbwatch.capture.look import BUSES
from usbwatch.capture.smbios_table import KEPT_TYPES
from usbwatch.kit.asked import LINKS, calls

__all__ = ["script"]


def script() -> str:
    """The text of ``capture.sh``."""
    counted = [folder.partition("/")[2] for _, folder, _ in BUSES if not folder.startswith("sys/firmware")]
    told = {
        "@VERSION@": __version__,
        "@LINKS@": " ".join(LINKS),
        "@ASKED@": "\n".join(calls()),
        "@RECORDS@": " ".join(map(str, KEPT_TYPES)),
        "@COUNTED@": " ".join(counted),
    }
    text = files("usbwatch.kit").joinpath("collector.sh").read_text(encoding="utf-8")
    for mark, words in told.items():
        text = text.replace(mark, words)
    return text
