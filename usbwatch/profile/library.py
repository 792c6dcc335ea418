"""Where profiles are kept: the shipped ones, and the user's own folder.

The user's folder is ``profiles`` in the data folder that the system gives to
programs, or what the environment variable ``USBWATCH_PROFILES`` names. A
profile of the user's takes the place of a shipped one with the same id.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from usbwatch.errors import BadProfile, NoProfile
from usbwatch.model import Profile, UnitStrings
from usbwatch.profile.choosing import folded
from usbwatch.profile.exporting import FORMAT
from usbwatch.profile.faults import shown_path
from usbwatch.profile.reading import load, parse, text_in

__all__ = ["VARIABLE", "Library", "find", "is_shipped", "known", "library", "shipped", "users_folder"]

VARIABLE = "USBWATCH_PROFILES"

_PACKAGE = Path(__file__).resolve().parent.parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """All profiles at hand, the user's first, and the files that could not be read as one."""

    profiles: tuple[Profile, ...]
    broken: tuple[BadProfile, ...]
    shadowed: tuple[Profile, ...] = ()
    """Shipped profiles that one of the user's takes the place of."""

    def origin(self, profile: Profile) -> str:
        """Where a profile of this library comes from, as one phrase."""
        if is_shipped(profile):
            return "shipped with usbwatch"
        hides = any(one.id == profile.id for one in self.shadowed)
        return "your library" + (", in place of the shipped profile with this id" if hides else "")


def is_shipped(profile: Profile) -> bool:
    """Whether a profile was read from the folder of the shipped ones."""
    return bool(profile.path) and Path(profile.path).parent == shipped("profiles")


def shipped(kind: Literal["profiles", "captures"], package: Path = _PACKAGE) -> Path:
    """The folder of shipped files of a kind; raises ``FileNotFoundError`` for an incomplete installation.

    An installed package has them inside (``_shipped``); beside the package is
    where they are in the source tree, and so for an editable installation.
    """
    inside, beside = package / "_shipped" / kind, package.parent / kind
    for folder in (inside, beside):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"usbwatch is installed without its {kind}: neither {inside} nor {beside} is there")


def users_folder() -> Path:
    """The folder of the user's own profiles; it need not exist."""
    named = os.environ.get(VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_data_dir

    return Path(user_data_dir("usbwatch")) / "profiles"


def library(about: UnitStrings | None = None) -> Library:
    """Every profile at hand; a file that is no good profile is told in ``broken`` and ends nothing.

    With ``about``, those that cannot fit this unit may be left out, and are then not read: reading one takes some
    ten milliseconds. What stays is what ``fitting`` chooses from, in the same order.
    """
    at_hand = shipped("profiles")
    names = [path.stem for path in at_hand.glob("*.toml")] if about is not None else []

    def beside_the_point(text: str) -> bool:
        return about is not None and _tells_of_another(text, about)

    def also_of_another_name(text: str) -> bool:
        return beside_the_point(text) and not any(name in text for name in names)

    shelves = [
        _shelf(users_folder(), also_of_another_name, needed=bool(os.environ.get(VARIABLE))),
        _shelf(at_hand, beside_the_point, needed=True),
    ]
    by_id: dict[str, Profile] = {}
    shadowed: list[Profile] = []
    for shelf in shelves:
        shadowed += [one for one in shelf.profiles if one.id in by_id]
        by_id |= {one.id: one for one in shelf.profiles if one.id not in by_id}
    broken = tuple(error for shelf in shelves for error in shelf.broken)
    return Library(profiles=tuple(by_id.values()), broken=broken, shadowed=tuple(shadowed))


def _shelf(folder: Path, passed_over: Callable[[str], bool], *, needed: bool) -> Library:
    """What one folder holds, by file name; that it is not there is a fault only when it is ``needed``.

    A profile whose text is ``passed_over`` is not read any further, unless it may have the id of one that is read.
    """
    good: dict[str, Profile] = {}
    broken: list[BadProfile] = []
    unread: list[str] = []
    try:
        paths = sorted(path for path in folder.iterdir() if path.suffix == ".toml" and not path.name.startswith("."))
    except OSError as error:
        paths = []
        if needed or not isinstance(error, FileNotFoundError):
            problem = f"this folder of profiles cannot be listed: {error.strerror}; create it or mend {VARIABLE}"
            broken.append(BadProfile(shown_path(str(folder)), (("", problem),)))
    for path in paths:
        try:
            text = text_in(str(path))
            if passed_over(text):
                unread.append(text)
                continue
            profile = parse(text, str(path))
            _refuse_second(profile, good)
            good[profile.id] = profile
        except BadProfile as error:
            broken.append(error)
    if any(id_ in text for text in unread for id_ in good):
        return _shelf(folder, lambda _text: False, needed=needed)
    return Library(profiles=tuple(good.values()), broken=tuple(broken))


def _tells_of_another(text: str, unit: UnitStrings) -> bool:
    """Whether a profile with this text cannot fit the unit: it has no string of the unit's beside that string's key.

    A string of TOML stands between quotation marks. A backslash can spell anything, and what does not name our format
    is to be read, so that it is said to be broken.
    """
    if "\\" in text or FORMAT not in text:
        return False
    written = folded(text)
    strings = ((key, folded(value)) for key, value in asdict(unit).items() if key in text)
    return not any(value and _quotes(written, value) for _, value in strings)


def _quotes(written: str, value: str) -> bool:
    """Whether this folded text has this folded value, white space around it or not, as a string of its own."""
    return value in written and re.search(rf"[\"'] ?{re.escape(value)} ?[\"']", written) is not None


def known() -> tuple[Profile, ...]:
    """Every good profile at hand, the user's first, each folder by file name."""
    return library().profiles


def find(name_or_path: str) -> Profile:
    """The profile with this id, or in this file; raises ``NoProfile`` or ``BadProfile``.

    What ends in ``.toml`` or has a path separator in it is a file.
    """
    if name_or_path.endswith(".toml") or any(mark in name_or_path for mark in (os.sep, os.altsep) if mark):
        return load(name_or_path)
    at_hand = library()
    for profile in at_hand.profiles:
        if profile.id == name_or_path:
            return profile
    for error in at_hand.broken:
        if Path(error.path).stem == name_or_path:
            raise error
    raise NoProfile(shown_path(name_or_path), tuple(profile.id for profile in at_hand.profiles))


def _refuse_second(profile: Profile, here: dict[str, Profile]) -> None:
    if profile.id in here:
        other = shown_path(Path(here[profile.id].path).name)
        raise BadProfile(shown_path(profile.path), (("id", f"{profile.id} is taken by {other} in the same folder"),))
