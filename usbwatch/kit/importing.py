"""What lets modules of usbwatch be imported from the collector's one file, on Python 3.8 and later.

Run by the collector before anything else; imports nothing of ours.
"""

from __future__ import annotations

import dataclasses
import sys
from importlib.abc import InspectLoader, MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_loader
from types import CodeType, ModuleType
from typing import Any, Callable, Dict, Mapping, Optional, Sequence

__all__ = ["Bundled", "serve", "tolerant_dataclass"]


class Bundled(MetaPathFinder, InspectLoader):
    """Finds and loads modules of which it has the text."""

    def __init__(self, modules: Mapping[str, str]) -> None:
        self._modules = modules

    def find_spec(
        self, fullname: str, path: Optional[Sequence[str]], target: Optional[ModuleType] = None
    ) -> Optional[ModuleSpec]:
        """Where a module is loaded from: here, or not known."""
        del path, target
        if fullname not in self._modules:
            return None
        return spec_from_loader(fullname, self, origin=f"<kit>/{fullname}", is_package=self.is_package(fullname))

    def is_package(self, fullname: str) -> bool:
        """Whether other modules are below this one."""
        return any(name.startswith(f"{fullname}.") for name in self._modules)

    def get_code(self, fullname: str) -> CodeType:
        """The module compiled under a name by which its lines are found again."""
        return compile(self._modules[fullname], f"<kit>/{fullname}.py", "exec", dont_inherit=True)

    def get_source(self, fullname: str) -> str:
        """The module's text, for whoever shows where an error came from."""
        return self._modules[fullname]


def serve(modules: Mapping[str, str]) -> None:
    """From now on ``modules`` can be imported, before all others of the same names."""
    sys.meta_path.insert(0, Bundled(modules))
    if sys.version_info < (3, 10):  # noqa: UP036 - the kit runs on units whose Python is older
        dataclasses.dataclass = tolerant_dataclass(dataclasses.dataclass)  # type: ignore[assignment]


def tolerant_dataclass(real: Callable[..., Any]) -> Callable[..., Any]:
    """``real``, the ``dataclass`` of Python 3.8 or 3.9, taking the options that came with 3.10.

    ``slots`` saves memory alone. With ``kw_only`` a field without a default may follow one with: here such fields
    are moved to the front, which changes nothing for who gives all by name.
    """

    def dataclass(
        cls: Optional[type] = None,
        *,
        slots: bool = False,  # noqa: ARG001 - taken, and not needed
        kw_only: bool = False,
        **options: bool,
    ) -> Any:  # noqa: ANN401 - a class, or what makes one of a class
        def made(cls: type) -> Any:  # noqa: ANN401 - as ``real`` gives it
            if kw_only:
                _put_required_first(cls)
            return real(cls, **options)

        return made if cls is None else made(cls)

    return dataclass


def _put_required_first(cls: type) -> None:
    own: Dict[str, object] = vars(cls).get("__annotations__", {})
    cls.__annotations__ = dict(sorted(own.items(), key=lambda item: _has_default(cls, item[0])))


def _has_default(cls: type, name: str) -> bool:
    told = cls.__dict__.get(name, dataclasses.MISSING)
    if isinstance(told, dataclasses.Field):
        return told.default is not dataclasses.MISSING or told.default_factory is not dataclasses.MISSING
    return told is not dataclasses.MISSING
