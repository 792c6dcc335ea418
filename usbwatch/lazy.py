"""Names of a package that are imported when they are first asked for (PEP 562).

Who only reads a saved capture needs neither the readers of the buses nor the
patterns of the kernel's log.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from types import ModuleType

__all__ = ["HOMES", "on_first_use"]

HOMES: dict[str, Mapping[str, str]] = {}
"""By package that loads names on first use: the module within it of each name."""


def on_first_use(package: str, homes: Mapping[str, str]) -> Callable[[str], object]:
    """A ``__getattr__`` for ``package``; ``homes`` gives the module within it of each name.

    A name that is called like its own module stays the name: Python would put
    the module in its place when that is imported.
    """
    HOMES[package] = homes

    class Front(ModuleType):
        def __setattr__(self, name: str, value: object) -> None:
            if not (isinstance(value, ModuleType) and homes.get(name) == name):
                super().__setattr__(name, value)

    def look_up(name: str) -> object:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value: object = getattr(import_module(f"{package}.{homes[name]}"), name)
        setattr(sys.modules[package], name, value)
        return value

    sys.modules[package].__class__ = Front
    return look_up
