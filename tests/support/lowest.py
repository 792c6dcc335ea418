"""The lowest versions that ``pyproject.toml`` declares, as constraints for pip: what is promised, and seldom installed.

``python -m support.lowest > FILE`` (with ``tests`` on the Python path) writes them; DEVELOPERS.md says how they are
tried. They are made from the declaration each time, so no file of them can be out of date.
"""

from __future__ import annotations

from packaging.utils import canonicalize_name
from support.licences import declared

__all__ = ["constraints"]


def constraints() -> list[str]:
    """A line for each package that is needed to run, with any extra."""
    found = []
    for use in declared():
        if use.title.startswith(("To run", "With the extra")):
            for need in use.needs:
                (bound,) = need.specifier
                names = [canonicalize_name(need.name), *(f"{need.name}-{extra}" for extra in need.extras)]
                found += [f"{name}=={bound.version}" for name in names]
    return sorted(found)


if __name__ == "__main__":
    print("\n".join(constraints()))  # noqa: T201 - what it is for
