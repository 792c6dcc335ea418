"""The kernel's command line: the few parameters on it that keep hardware from showing.

Documentation/admin-guide/kernel-parameters.txt and .rst. Only the words of
``_YES_NO`` and ``_WITH_WORDS`` and the names in blacklists are kept: the rest of a command line
names disks, users and keys.
"""

from __future__ import annotations

import re
from typing import Iterator, Tuple

from usbwatch.model import Blacklisted

__all__ = ["MODULE_NAME", "blacklists", "switches"]

_YES_NO = frozenset({"i8042.noaux", "i8042.nokbd", "nomodeset", "nomodule", "nousb", "usbcore.nousb"})
_WITH_WORDS = frozenset({"acpi", "pci", "rfkill.default_state", "usbcore.authorized_default"})
"""Parameters that decide whether hardware shows at all (kernel-parameters.txt)."""

_BLACKLISTS = ("module_blacklist", "modprobe.blacklist", "rd.driver.blacklist")
"""Parameters that name modules: of the kernel, of modprobe(8), and of dracut.cmdline(7)."""

_OFF = frozenset({"0", "n", "N", "f", "F", "off"})
"""Words that switch a yes/no parameter off again (lib/kstrtox.c, kstrtobool)."""

_PLAIN_WORD = re.compile(r"[A-Za-z0-9_]{1,32}\Z")
"""What a value is kept of: ``pci=`` also takes addresses of devices."""

MODULE_NAME = re.compile(r"[A-Za-z0-9_-]{1,64}\Z")
"""A module's name."""

_WORD = re.compile(r'(?:[^\s"]|"[^"]*"?)+')
"""A parameter; spaces within double quotes do not end it."""


def _parameters(line: str) -> Iterator[Tuple[str, str]]:
    """Names and values; what follows ``--`` is for the first program, not for the kernel."""
    for word in _WORD.findall(line):
        if word == "--":
            return
        name, _, value = word.replace('"', "").partition("=")
        yield name.replace("-", "_"), value


def switches(line: str) -> Tuple[str, ...]:
    """The parameters of a command line that bear on hardware, sorted, as ``name`` or ``name=word``."""
    found = set()
    for name, value in _parameters(line):
        if name in _YES_NO and value not in _OFF:
            found.add(name)
        elif name in _WITH_WORDS:
            found |= {f"{name}={word}" for word in value.split(",") if _PLAIN_WORD.match(word)}
    return tuple(sorted(found))


def blacklists(line: str) -> Tuple[Blacklisted, ...]:
    """The modules that a command line keeps from being loaded."""
    return tuple(
        Blacklisted(module=module.replace("-", "_"), where=f"kernel parameter {name}")
        for name, value in _parameters(line)
        if name in _BLACKLISTS
        for module in value.split(",")
        if MODULE_NAME.match(module)
    )
