"""How the reading of a kernel log grows with its length: CPU time of four megabytes against that of one.

Run: ``python benchmarks/log_growth.py``. The peer is the same reader on a
quarter of the text, in the same run; a ratio near 4 is linear growth.
"""

from __future__ import annotations

import time

from usbwatch.capture.log import surveyed

MEGABYTE = 1024 * 1024
HUBS = {"1": "pci0000:00/14.0/usb2"}
KINDS = {
    "plain lines": "[    1.000000] usb 1-5: something the table does not know\n",
    "failed enumeration": "[    1.000000] usb 1-5: device descriptor read/8, error -71\n",
    "names": "[    1.000000] usb 1-5: Product: x\n",
    "empty lines": "\n",
}


def cpu_s(text: str) -> float:
    """CPU seconds of one survey."""
    begun = time.process_time()
    surveyed(text, HUBS)
    return time.process_time() - begun


def main() -> None:
    """Print the figures."""
    for kind, line in KINDS.items():
        one, four = (cpu_s(line * (size * MEGABYTE // len(line))) for size in (1, 4))
        print(f"{kind}: 1 MiB {one:.2f} s, 4 MiB {four:.2f} s, ratio {four / one:.1f}")


if __name__ == "__main__":
    main()
