"""The command ``usbwatch``: parse, call a room, show. The only room that prints, asks or exits.

Only click is imported here; each command imports what it needs when it runs,
so that ``usbwatch --help`` is there at once.
"""

from usbwatch.cli.commands import usbwatch
from usbwatch.cli.running import main

__all__ = ["main", "usbwatch"]
