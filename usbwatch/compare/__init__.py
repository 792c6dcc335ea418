"""Match what a capture shows to what a profile expects, or one capture to another. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.compare.changes import changes
    from usbwatch.compare.findings import expected_devices, findings
    from usbwatch.compare.serials import serials
    from usbwatch.compare.since_baseline import since_baseline
    from usbwatch.compare.unproven import beside_earlier
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "beside_earlier": "unproven",
            "changes": "changes",
            "expected_devices": "findings",
            "findings": "findings",
            "serials": "serials",
            "since_baseline": "since_baseline",
        },
    )

__all__ = ["beside_earlier", "changes", "expected_devices", "findings", "serials", "since_baseline"]
