"""Match what a capture shows to what a profile expects, or one capture to another. Pure."""

from usbwatch.compare.changes import changes
from usbwatch.compare.findings import expected_devices, findings

__all__ = ["changes", "expected_devices", "findings"]
