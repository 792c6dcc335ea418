"""Which captures are of the model that most of them are of, and which are of another."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from usbwatch.drafting.learning.sightings import Role
from usbwatch.drafting.learning.table import Table, fold
from usbwatch.drafting.learning.values import Outlier, OutlierKind

if TYPE_CHECKING:
    from usbwatch.drafting.learning.table import Flags, Numbers

__all__ = ["of_one_model"]

_CORE = 0.5
"""What stands at a place in this share of the most usual model's captures belongs to its core."""
_LIKE = 0.5
"""Share of the core that a capture under another name has to show to be counted as the same model."""
_HARDLY = 0.2
"""Share of the core below which a capture says nothing of the model, whatever its name."""


def of_one_model(table: Table) -> tuple[Table, tuple[Outlier, ...]]:
    """The captures of the most usual model, and the others with the reason."""
    import numpy as np

    names = [" ".join(filter(None, (fold(texts[0]), fold(texts[1])))) for texts in table.texts]
    if not names:
        return table, ()
    usual = min(Counter(name for name in names if name).items(), key=lambda pair: (-pair[1], pair[0]), default=("", 0))[
        0
    ]
    own = np.array([name == usual for name in names])
    shown, core = _core_shown(table, own)
    kept = np.where(own, shown >= _HARDLY * core, shown >= _LIKE * core)
    outliers = tuple(
        _outlier(table, int(row), int(shown[row]), core, is_own=bool(own[row])) for row in np.flatnonzero(~kept)
    )
    return table.only(kept), outliers


def _core_shown(table: Table, own: Flags) -> tuple[Numbers, int]:
    """By capture: at how many places of the core it shows what the usual model has there; and the size of the core."""
    import numpy as np

    at: dict[tuple[str, str], Numbers] = {}
    for thing, column in table.columns.items():
        if _is_kept(table, column.manners):
            place = at.setdefault((thing.bus, thing.place), np.zeros(table.rows, dtype=np.int64))
            if own[column.rows].any():
                place[column.rows] = 1
    core = [there for there in at.values() if there[own].sum() >= _CORE * own.sum()]
    return np.sum(core, axis=0, dtype=np.int64) if core else np.zeros(table.rows, dtype=np.int64), len(core)


def _is_kept(table: Table, manners: Numbers) -> bool:
    """Whether any capture keeps a thing as a device."""
    import numpy as np

    return any(table.manners[number].role in (Role.INSIDE, Role.UNSURE) for number in np.unique(manners))


def _outlier(table: Table, row: int, shown: int, core: int, *, is_own: bool) -> Outlier:
    texts = table.texts[row]
    called = " ".join(filter(None, texts[:2])) or "nothing (no SMBIOS strings)"
    share = f"it shows {shown} of the {core} devices that most captures have"
    if is_own:
        return Outlier(name=table.names[row], kind=OutlierKind.NOTHING_TO_LEARN, reasons=(share,))
    return Outlier(
        name=table.names[row],
        kind=OutlierKind.OTHER_MODEL,
        reasons=(f"it is of a unit that calls itself {called}", share),
    )
