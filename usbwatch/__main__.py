"""``python -m usbwatch`` is the command ``usbwatch``."""

import sys

from usbwatch.cli import main

if __name__ == "__main__":
    sys.exit(main())
