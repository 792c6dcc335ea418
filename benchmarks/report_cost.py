"""What an HTML report costs: processor time to render it, and its size.

Run: ``PYTHONPATH=tests python -m benchmarks.report_cost``. A report of the demo, and one of 12 subassemblies and 60
devices, each in a fresh interpreter, as the command does it: loading the template engine and reading the templates is
part of the first figure; the second is a further page in the same process. No peer.
"""

from __future__ import annotations

import statistics
import subprocess
import sys

RUNS = 7
ASKED = """
import time
from support.reports import crowded, report_of
report = crowded(12, 60) if {crowded} else report_of("larch-13-top-case-lost")
spent = [time.process_time()]
from usbwatch.show.report.html import report_html
for _ in range(2):
    page = report_html(report)
    spent.append(time.process_time())
print(1000 * (spent[1] - spent[0]), 1000 * (spent[2] - spent[1]), len(page.encode()))
"""


def main() -> None:
    """Print a row for each report."""
    for name, crowded in (("the demo's fault report", False), ("12 subassemblies, 60 devices", True)):
        command = [sys.executable, "-c", ASKED.format(crowded=crowded)]
        runs = [subprocess.run(command, check=True, capture_output=True, text=True).stdout.split() for _ in range(RUNS)]
        first, again, size = (statistics.median(float(run[place]) for run in runs) for place in range(3))
        print(f"{name:30} first {first:4.0f} ms, again {again:4.0f} ms, {size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
