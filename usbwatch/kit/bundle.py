"""The collector as one Python file: the modules that a capture needs, as the text that they are, and a small importer.

Which modules those are is found by following the imports from
``usbwatch.kit.collecting``, through names that load on first use
(``usbwatch.lazy``) as well. Imports for types alone are not followed.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

from usbwatch import __version__
from usbwatch.lazy import HOMES

__all__ = ["ROOT", "bundled", "needed"]

ROOT = "usbwatch.kit.collecting"
_IMPORTER = "usbwatch.kit.importing"

_HEAD = """\
# -*- coding: utf-8 -*-
# The collector of usbwatch {version}: records what a laptop enumerates, for a unit that has nothing installed.
#
#     python3 {name}          (as root more can be seen; python3 {name} --help tells the rest)
#
# It needs Python 3.8 or later and nothing else. It only reads, and writes its files beside itself, nowhere else.
# What follows are the modules of usbwatch that taking a capture needs, unaltered, each as text; the last lines
# start them. This file was made by "usbwatch kit"; make it anew rather than edit it.
# Apache License 2.0.
import sys

if sys.version_info < (3, 8):
    sys.stderr.write("usbwatch: this needs Python 3.8 or later, and here is %s; run: sh capture.sh\\n"
                     % sys.version.split()[0])
    sys.exit(3)
sys.dont_write_bytecode = True
import os  # loaded long before this file, so not from beside it

# The folder of this file may hold anything: nothing is imported from it.
HERE = os.path.dirname(os.path.realpath(__file__))
sys.path[:] = [folder for folder in sys.path if folder and os.path.realpath(folder) != HERE]

MODULES = {{}}
"""

_FOOT = """
started = {"__name__": %(importer)r}
exec(compile(MODULES[%(importer)r], "<kit>/usbwatch/kit/importing.py", "exec"), started)
started["serve"](MODULES)

if __name__ == "__main__":
    from usbwatch.kit.collecting import main

    sys.exit(main(sys.argv[1:], __file__))
"""


def bundled(name: str = "capture.py") -> str:
    """The text of the collector, which will be called ``name``; the same for the same modules."""
    pieces = [_HEAD.format(version=__version__, name=name)]
    pieces += [f"\nMODULES[{module!r}] = {_quoted(source)}\n" for module, source in needed().items()]
    pieces.append(_FOOT % {"importer": _IMPORTER})
    return "".join(pieces)


def _quoted(source: str) -> str:
    """A module's text as a string literal that reads as the text does."""
    if "'''" in source or source.endswith(("\\", "'")):
        return repr(source)
    return f"r'''{source}'''"


def needed() -> dict[str, str]:
    """Name and text of every module that the collector needs, sorted by name."""
    found: dict[str, str] = {}
    wanted = [ROOT, _IMPORTER]
    while wanted:
        module = wanted.pop()
        path = _file(module)
        if module in found or path is None:
            continue
        found[module] = path.read_text(encoding="utf-8")
        wanted += _imported(ast.parse(found[module]))
        wanted.append(module.rpartition(".")[0])
    return dict(sorted(found.items()))


def _file(module: str) -> Path | None:
    """The source file of a module of ours; None for any other, or for a name that is no module."""
    if not module.startswith("usbwatch"):
        return None
    try:
        spec = find_spec(module)
    except ModuleNotFoundError:  # what stands above the name is a module and no package
        return None
    return Path(spec.origin) if spec and spec.origin else None


def _imported(tree: ast.AST) -> Iterator[str]:
    """The modules that a module imports when it runs, at its top or later."""
    for node in _running(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            for alias in node.names:
                yield _home(node.module, alias.name)


def _running(tree: ast.AST) -> Iterator[ast.AST]:
    """All parts of a module but what stands under ``if TYPE_CHECKING``."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            for other in node.orelse:
                yield other
                yield from _running(other)
        else:
            yield node
            yield from _running(node)


def _home(package: str, name: str) -> str:
    """The module that ``from package import name`` loads: one of that name, or that where a lazy package has it."""
    if _file(f"{package}.{name}"):
        return f"{package}.{name}"
    if package.startswith("usbwatch"):
        import_module(package)
    home = HOMES.get(package, {}).get(name)
    return f"{package}.{home}" if home else package
