"""Module aliases: which of a kernel's modules are made for a device, by the text that the device gives of itself.

An alias is a shell pattern (fnmatch(3)) that scripts/mod/file2alias.c makes of
a module's device table, and depmod(8) gathers in ``modules.alias``; those of
what is built in stand in ``modules.builtin.modinfo``. In both ``-`` and ``_``
are the same outside of brackets (modprobe.d(5)). Patterns and texts are cut
into pieces between their stars and each piece is searched for once, so that
no pattern takes longer than its length allows.
"""

from __future__ import annotations

import re
from typing import Dict, Iterable, Iterator, List, Tuple

__all__ = ["Alias", "built_in_aliases", "kind_of", "listed_aliases", "matches", "modules_for"]

Alias = Tuple[str, str]
"""A pattern, and the module that it stands for."""

LONGEST = 1024
"""Characters of a pattern or modalias at most: half of the kernel's own limit for a whole uevent."""

_MOST_STARS = 40
"""In one pattern at most; input devices' have the most, under 20."""

_MOST_COMPARISONS = 50_000
"""Patterns times devices that are looked at beyond their beginnings: a real kernel's list needs some hundreds."""

_TOKEN = re.compile(r"\[[!^]?\]?[^\]]*\]|\\.|.", re.DOTALL)
_SPECIAL = re.compile(r"[*?\[\\]")


def listed_aliases(text: str, kinds: Iterable[str]) -> Iterator[Alias]:
    """The aliases of some kinds in a ``modules.alias`` file: its lines ``alias PATTERN MODULE``."""
    wanted = "|".join(re.escape(kind) for kind in kinds)
    for found in re.finditer(rf"^alias ((?:{wanted})[^a-z\s]\S*) (\S+)$", text, re.MULTILINE):
        yield found.group(1), found.group(2)


def built_in_aliases(text: str) -> Iterator[Alias]:
    """The aliases in a ``modules.builtin.modinfo`` file: ``MODULE.alias=PATTERN``, each ended by a zero byte."""
    for entry in text.split("\0"):
        key, equals, pattern = entry.partition("=")
        module, _, kind = key.rpartition(".")
        if equals and kind == "alias":
            yield pattern, module


def kind_of(modalias: str) -> str:
    """What a modalias begins with, such as ``usb`` or ``acpi``: its subsystem."""
    found = re.match("[a-z_]+", modalias)
    return found.group() if found else ""


def modules_for(aliases: Iterable[Alias], modaliases: Iterable[str]) -> Dict[str, Tuple[str, ...]]:
    """By modalias the modules that are made for it, sorted; none is an answer too.

    Nothing at all comes back when the aliases are so many that no kernel's
    can be: then it is not known.
    """
    plain = {text: _underscored(text) for text in modaliases if len(text) <= LONGEST}
    found: Dict[str, List[str]] = {text: [] for text in plain}
    compared = 0
    for pattern, module in aliases:
        start = _beginning(pattern)
        near = [text for text, normal in plain.items() if normal.startswith(start)]
        compared += len(near)
        if compared > _MOST_COMPARISONS:
            return {}
        for text in near:
            if _matches(pattern, plain[text]):
                found[text].append(module.replace("-", "_"))
    return {text: tuple(sorted(set(modules))) for text, modules in found.items()}


def _beginning(pattern: str) -> str:
    """What a text must begin with to fit: the pattern up to its first special character."""
    special = _SPECIAL.search(pattern)
    return (pattern[: special.start()] if special else pattern).replace("-", "_")


def _underscored(text: str) -> str:
    """``_`` for every ``-`` outside of brackets."""
    return "".join(one if one[0] == "[" and len(one) > 1 else one.replace("-", "_") for one in _tokens(text))


def _tokens(pattern: str) -> List[str]:
    found: List[str] = _TOKEN.findall(pattern)
    return found


def matches(pattern: str, text: str) -> bool:
    r"""Whether a module alias fits a device's modalias, with ``*``, ``?``, ``[…]`` and ``\`` as in fnmatch(3)."""
    return len(text) <= LONGEST and _matches(pattern, _underscored(text))


def _matches(pattern: str, text: str) -> bool:
    """The same for a text that has its underscores already."""
    if len(pattern) > LONGEST or pattern.count("*") > _MOST_STARS:
        return False
    pieces = _pieces(_underscored(pattern))
    try:
        return _fits([(re.compile("".join(piece), re.DOTALL), len(piece)) for piece in pieces], text)
    except re.error:  # a range that runs backwards fits nothing
        return False


def _pieces(pattern: str) -> List[List[str]]:
    """The regular expressions of single characters between the stars of a pattern."""
    pieces: List[List[str]] = [[]]
    for token in _tokens(pattern):
        if token == "*":  # noqa: S105
            pieces.append([])
        else:
            pieces[-1].append(_one_character(token))
    return pieces


def _one_character(token: str) -> str:
    if token == "?":  # noqa: S105
        return "."
    if len(token) == 1:
        return re.escape(token)
    if token[0] == "\\":
        return re.escape(token[1])
    negated = token[1] in "!^"
    return f"[{'^' if negated else ''}{_set_members(token[1 + negated : -1])}]"


def _set_members(body: str) -> str:
    """The members of a bracket with each character escaped, for ``--`` and the like mean more to ``re`` than here."""
    members: List[str] = []
    at = 0
    while at < len(body):
        is_range = body[at + 1 : at + 2] == "-" and at + 2 < len(body)
        members.append(f"{re.escape(body[at])}-{re.escape(body[at + 2])}" if is_range else re.escape(body[at]))
        at += 3 if is_range else 1
    return "".join(members)


def _fits(pieces: List[Tuple["re.Pattern[str]", int]], text: str) -> bool:
    """Whether the pieces follow each other in the text, the first at its beginning and the last at its end.

    Each piece is of one length, so the first place that it fits is always the best.
    """
    (first, _), *others = pieces
    if not others:
        return first.fullmatch(text) is not None
    found = first.match(text)
    for piece, _ in others[:-1]:
        found = piece.search(text, found.end()) if found else None
    last, length = others[-1]
    end = len(text) - length
    return found is not None and found.end() <= end and last.fullmatch(text, end) is not None
