"""usbwatch: tell, from what a laptop enumerates, which part of it has failed.

Nothing heavy is imported here; each room (``capture``, ``profile``,
``compare``, ``localise``, ``plan``, ``show``) is imported where it is used.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
