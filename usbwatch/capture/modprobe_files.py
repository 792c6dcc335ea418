r"""Modules that this system's files keep from being loaded: ``modprobe.d``.

modprobe.d(5): one command a line, ``#`` begins a comment, a ``\`` at the end
of a line continues it; of files with one name the first folder's counts
(libkmod/libkmod-config.c), and one that links to ``/dev/null`` says nothing.
"""

from __future__ import annotations

from typing import Dict, Iterator, Optional, Tuple

from usbwatch.capture.kernel_parameters import MODULE_NAME
from usbwatch.capture.sight import Sight, named
from usbwatch.model import Blacklisted

__all__ = ["commands", "configured"]

_FOLDERS = ("etc", "run", "usr/local/lib", "usr/lib", "lib")
"""Where a ``modprobe.d`` can stand, the first to count first."""

_LOADING_NOTHING = frozenset({"false", "true"})
"""Programs that load nothing, given as a module's ``install`` command (common practice, no source)."""

_MOST_FILES = 200


def configured(sight: Sight) -> Optional[Tuple[Blacklisted, ...]]:
    """What the files say; None when a copied tree holds none of their folders."""
    files: Dict[str, str] = {}
    found = False
    for above in _FOLDERS:
        folder = f"{above}/modprobe.d"
        try:
            names = sight.entries(folder)
        except OSError:
            names = sight.names(folder)  # none, and it is noted why where that is not for want of the folder
        else:
            found = True
        for name in names:
            if name.endswith(".conf"):
                files.setdefault(name, folder)
    if not found and sight.tree.source != "live":
        return None
    return tuple(one for name in sorted(files)[:_MOST_FILES] for one in _in_file(sight, files[name], name))


def _in_file(sight: Sight, folder: str, name: str) -> Iterator[Blacklisted]:
    if _is_masked(sight, f"{folder}/{name}"):
        return
    for module in commands(sight.text(folder, name)):
        yield Blacklisted(module=module, where=named(f"/{folder}/{name}"))


def _is_masked(sight: Sight, path: str) -> bool:
    try:
        return sight.tree.link(path) == "/dev/null"
    except OSError:
        return False


def commands(text: str) -> Iterator[str]:
    """The modules that a file blacklists, or installs by doing nothing."""
    for line in text.replace("\\\n", "").split("\n"):
        words = line.split()
        if len(words) < 2 or not MODULE_NAME.match(words[1]):  # noqa: PLR2004
            continue
        refuses = words[0] == "install" and words[2:3] and words[2].rpartition("/")[2] in _LOADING_NOTHING
        if words[0] == "blacklist" or refuses:
            yield words[1].replace("-", "_")
