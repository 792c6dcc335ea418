"""Match what a capture shows to what a profile expects, or one capture to another. Pure."""

from usbwatch.compare.changes import changes
from usbwatch.compare.findings import expected_devices, findings
from usbwatch.compare.serials import serials
from usbwatch.compare.since_baseline import since_baseline

__all__ = ["changes", "expected_devices", "findings", "serials", "since_baseline"]
