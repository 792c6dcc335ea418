"""``python -m usbwatch.onboard``: what the stick starts on the unit."""

from __future__ import annotations

import sys

from usbwatch.onboard.moments import since_boot_s

_BEGAN_S = since_boot_s()

from usbwatch.onboard.starting import main  # noqa: E402 - the first moment is before anything is imported

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:], _BEGAN_S))
