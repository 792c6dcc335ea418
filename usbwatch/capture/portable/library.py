"""libusb as pyusb's backend, loaded when it is asked for; and the one cached answer that pyusb does not pass on."""

from __future__ import annotations

from importlib import import_module
from typing import Any, Optional

from usbwatch.errors import NoLibrary

__all__ = ["EXTRA", "active_configuration", "check_installed", "libusb"]

EXTRA = "usbwatch[portable]"
"""What to install for this way of capturing."""

_NOT_FOUND = -5
"""LIBUSB_ERROR_NOT_FOUND: of an active configuration, that there is none (libusb.h)."""


_PACKAGES = {"usb.backend.libusb1": "pyusb", "libusb_package": "libusb-package"}
"""Modules that are needed, and the packages that have them."""


def check_installed() -> None:
    """Raise ``NoLibrary`` when a Python package is not installed; libusb itself is not loaded for that."""
    for module, package in _PACKAGES.items():
        try:
            import_module(module)
        except ImportError:
            raise NoLibrary(package, EXTRA) from None


def libusb() -> Any:  # noqa: ANN401 - pyusb has no types
    """The backend of the bundled libusb, or of the system's; None when neither loads and starts."""
    import logging

    import libusb_package
    import usb.backend.libusb1

    # Its own complaints would go to the terminal; that it did not load is said in the capture's coverage.
    logging.getLogger("usb").addHandler(logging.NullHandler())
    return usb.backend.libusb1.get_backend(find_library=libusb_package.find_library)


def active_configuration(backend: Any, handle: Any) -> Optional[int]:  # noqa: ANN401 - pyusb has no types
    """The active bConfigurationValue, as libusb has it without opening the device; 0: none; None: not told.

    ``libusb_get_active_config_descriptor`` is "a non-blocking function which
    does not involve any requests being sent to the device" (libusb's
    documentation); pyusb's own ``get_configuration`` opens.
    """
    library: Any = getattr(backend, "lib", None)
    if not hasattr(library, "libusb_get_active_config_descriptor"):
        return None
    import ctypes

    pointer_type = library.libusb_free_config_descriptor.argtypes[0]  # pyusb's own type of the structure
    found = pointer_type()
    code = library.libusb_get_active_config_descriptor(ctypes.c_void_p(handle.devid), ctypes.byref(found))
    if code:
        return 0 if code == _NOT_FOUND else None
    value = int(found.contents.bConfigurationValue)
    library.libusb_free_config_descriptor(found)
    return value
