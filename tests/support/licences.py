"""The page ``docs/licences.md``: what usbwatch needs, for what, and under which licence.

``python -m support.licences docs/licences.md`` (with ``tests`` on the Python path) writes it, from ``pyproject.toml``
and from what the installed packages say of themselves (core metadata: License-Expression, else the classifiers, else
License). What each licence asks is told in one table, and a licence that is not in it is refused.
"""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

__all__ = ["CARRIED", "PERMITTED", "Use", "declared", "licence_of", "page", "single"]

ROOT = Path(__file__).parents[2]

PERMITTED = {
    "0BSD": "Asks nothing.",
    "Apache-2.0": "That of usbwatch itself.",
    "BSD": "The package names no version of it. Its notice stays with it.",
    "BSD-2-Clause": "Its notice stays with it.",
    "BSD-3-Clause": "Its notice stays with it, and nobody's name is used to promote what is made with it.",
    "CC0-1.0": "Asks nothing.",
    "GPL-2.0-only": "Only run by tests, as a program of its own; nothing of it is imported or handed on.",
    "LGPL": "Imported as it is, from a package of its own that anybody can replace; nothing of it is copied in. "
    "Whoever hands it on, as on a bench stick, hands on its licence and offers its source.",
    "MIT": "Its notice stays with it.",
    "MIT-0": "Asks nothing.",
    "MIT-CMU": "Its notice stays with it.",
    "MPL-2.0": "Its own files stay under it; used as they are, they ask nothing of ours.",
    "PSF-2.0": "Its notice stays with it.",
    "Zlib": "Its notice stays with the sources.",
}
"""What each asks of a program under the Apache License 2.0 that needs such a package, by its SPDX name; LGPL: any."""

CARRIED = {
    "libusb-package": "carries the library libusb, LGPL-2.1-or-later",
    "psycopg-binary": "carries the library libpq (PostgreSQL) and what that needs, such as OpenSSL",
}
"""What a package holds of others without saying so in its metadata (its own documentation; looked at by hand)."""

_AS_CLASSIFIED = {
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD",
    "GNU Lesser General Public License v3 (LGPLv3)": "LGPL-3.0",
    "MIT License": "MIT",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Python Software Foundation License": "PSF-2.0",
}
_AS_NAMED = {
    "Apache 2.0": "Apache-2.0",
    "BSD 2-Clause License": "BSD-2-Clause",
    "BSD 3-Clause License": "BSD-3-Clause",
    "GPLv2": "GPL-2.0-only",
    "MIT License": "MIT",
}

_BY_HAND = {"atheris": "Apache-2.0"}
"""Packages whose metadata say nothing: what the head of their own sources says."""

_HEAD = """\
# Licences

usbwatch is under the Apache License 2.0 ([LICENSE](../LICENSE)). Its wheel holds nothing of others: what it needs is
installed beside it, each package under its own licence, as pip fetches it. A bench stick does carry such packages, and
has a file `LICENCES.txt` of its own that names each ([stick.md](stick.md)).

This page is made from what the packages say of themselves (see DEVELOPERS.md, "What is generated").

"""
_FOOT = """
## What the licences ask

| licence | of a program under the Apache License 2.0 that needs the package |
| --- | --- |
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What a group of packages is needed for."""

    title: str
    needs: tuple[Requirement, ...]
    """What is declared, by name."""

    @property
    def names(self) -> tuple[str, ...]:
        """Their normalised names."""
        return tuple(canonicalize_name(need.name) for need in self.needs)


def declared() -> tuple[Use, ...]:
    """Every dependency that ``pyproject.toml`` declares, by what it is for; a package stands with its first use."""
    document = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    project = document["project"]
    groups: list[tuple[str, list[str]]] = [("To run", project["dependencies"])]
    groups += [(f"With the extra `{name}`", needs) for name, needs in project["optional-dependencies"].items()]
    groups += [("To build the package", document["build-system"]["requires"])]
    groups += [
        (f"To work on usbwatch (group `{name}`); none of it is needed to use it", needs)
        for name, needs in document["dependency-groups"].items()
    ]
    told: set[str] = set()
    uses = []
    for title, needs in groups:
        found = {canonicalize_name(need.name): need for need in map(Requirement, needs)}
        uses.append(Use(title=title, needs=tuple(found[name] for name in sorted(found.keys() - told))))
        told |= found.keys()
    return tuple(uses)


def licence_of(name: str) -> str:
    """What an installed package says of its licence, as an SPDX expression where it can be told as one.

    Raises ``ValueError`` for a package that says nothing that this knows.
    """
    if name in _BY_HAND:
        return _BY_HAND[name]
    about = distribution(name).metadata
    expression, field = (_first_line(about.get_all(key, [])) for key in ("License-Expression", "License"))
    if expression:
        return expression
    classified = [one.rpartition(" :: ")[2] for one in about.get_all("Classifier", []) if one.startswith("License ::")]
    named = _AS_NAMED.get(field, field)
    spoken = [_AS_CLASSIFIED.get(one, one) for one in classified if one != "OSI Approved"]
    if named in PERMITTED and spoken in ([], ["BSD"]):
        return named
    if not spoken:
        raise ValueError(f"{name} names no licence that is known here: {field!r}")
    return " OR ".join(spoken)


def _first_line(values: Sequence[str]) -> str:
    return values[0].strip().partition("\n")[0].strip() if values else ""


def single(expression: str) -> Iterator[str]:
    """The licences that an expression names, each as ``PERMITTED`` has it."""
    for one in re.split(r" (?:AND|OR|WITH) |[()]", expression):
        name = one.strip()
        if name:
            yield "LGPL" if name.startswith("LGPL-") else name


def _needed_by(needs: Iterable[Requirement]) -> set[str]:
    """What these packages need in turn, all the way, on this system."""
    found: set[str] = set()
    waiting = list(needs)
    while waiting:
        for need in _next_of(waiting.pop()):
            if canonicalize_name(need.name) not in found:
                found.add(canonicalize_name(need.name))
                waiting.append(need)
    return found


def _next_of(need: Requirement) -> Iterator[Requirement]:
    """What an installed package needs by itself, on this system and with the extras that are asked for."""
    for one in map(Requirement, _installed(need.name).requires or []):
        if one.marker is None or any(one.marker.evaluate({"extra": extra}) for extra in ("", *need.extras)):
            yield one


def _installed(name: str) -> Distribution:
    try:
        return distribution(name)
    except PackageNotFoundError as error:
        raise ValueError(f"{name} is not installed; install the group dev and the extras") from error


def page() -> str:
    """The page. Raises ``ValueError`` where a licence is not known, or a package is not installed."""
    parts = [_HEAD]
    met: set[str] = set()
    everything = {name for use in declared() for name in use.names}
    told: set[str] = set()
    for use in declared():
        further = sorted(_needed_by(use.needs) - everything - told)
        told |= set(further)
        parts.append(f"## {use.title}\n\n| package | licence | |\n| --- | --- | --- |\n")
        for name in (*use.names, *further):
            licence = licence_of(name)
            met |= set(single(licence))
            notes = [*(["needed by these"] if name in further else []), *([CARRIED[name]] if name in CARRIED else [])]
            parts.append(f"| {name} | {licence} | {'; '.join(notes)} |\n")
        parts.append("\n")
    if met - PERMITTED.keys():
        raise ValueError(f"licences that nobody has looked at: {', '.join(sorted(met - PERMITTED.keys()))}")
    rows = [f"| {name} | {PERMITTED[name]} |\n" for name in sorted(met)]
    return "".join([*parts, _FOOT.lstrip("\n"), *rows])


def main() -> None:
    """Write the page."""
    Path(sys.argv[1]).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
