"""Who reads a saved capture pays for no reader of a bus, and for no pattern of the kernel's log."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

import usbwatch.capture
import usbwatch.capture.log
import usbwatch.capture.portable

_READING = """
import json, re, sys
compiled = []
plain = re.compile
re.compile = lambda pattern, *flags, **named: (compiled.append(str(pattern)), plain(pattern, *flags, **named))[1]
def of_the_log():
    return len([pattern for pattern in compiled if "USB device number" in pattern])
import usbwatch.capture, usbwatch.capture.log, usbwatch.compare
usbwatch.capture.load(sys.argv[1])
modules, before = sorted(name for name in sys.modules if name.startswith("usbwatch.capture.")), of_the_log()
usbwatch.capture.log.surveyed("[    1.000000] usb 1-5: USB disconnect, device number 3", {})
json.dump([modules, before, of_the_log()], sys.stdout)
"""
_FRONTS = (usbwatch.capture, usbwatch.capture.log, usbwatch.capture.portable)


def test_reading_a_saved_capture_imports_no_reader_and_compiles_no_pattern_of_the_log() -> None:
    path = Path(__file__).parents[2] / "captures/larch-13-top-case-lost.json"
    done = subprocess.run([sys.executable, "-c", _READING, str(path)], capture_output=True, text=True, check=True)
    modules, before, after = json.loads(done.stdout)
    assert "usbwatch.capture.saved" in modules
    assert not {"usbwatch.capture.look", "usbwatch.capture.usb", "usbwatch.capture.log.survey"} & set(modules)
    assert before == 0
    assert after > 0, "the patterns of a survey are what is counted"


@pytest.mark.parametrize("front", _FRONTS, ids=lambda front: front.__name__)
def test_a_front_has_every_name_that_it_offers_and_no_other(front: ModuleType) -> None:
    assert [name for name in front.__all__ if not hasattr(front, name)] == []
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        _ = front.nothing
