"""Captures of any content, for rules that must hold whatever a machine says."""

from __future__ import annotations

from hypothesis import strategies as st

from usbwatch.model import (
    Blacklisted,
    Capture,
    Coverage,
    CoverageState,
    Episode,
    Kind,
    Node,
    Rung,
    Software,
    System,
    UnitStrings,
)

__all__ = ["captures"]

_INTEGERS = st.integers(min_value=-(2**53) + 1, max_value=2**53 - 1)
_TEXTS = st.text(max_size=12)
_NAMES = st.sampled_from(("product", "serial", "status", "capacity", "speed_kbps", "peer"))

_NODES = st.builds(
    Node,
    bus=_TEXTS,
    location=_TEXTS,
    kind=st.sampled_from(Kind),
    rung=st.sampled_from(Rung),
    identity=_TEXTS,
    name=_TEXTS,
    functions=st.lists(_TEXTS, max_size=2).map(tuple),
    driver=_TEXTS,
    facts=st.dictionaries(_NAMES, st.one_of(_TEXTS, _INTEGERS), max_size=3),
    raw=st.dictionaries(_NAMES, st.binary(max_size=4).map(bytes.hex), max_size=2),
)
_COVERAGES = st.builds(
    Coverage,
    bus=_TEXTS,
    state=st.sampled_from(CoverageState),
    nodes=_INTEGERS,
    why=_TEXTS,
    root_would_help=st.booleans(),
    unread=_INTEGERS,
    drivers=st.lists(_TEXTS, max_size=2).map(tuple),
    unread_names=st.lists(_TEXTS, max_size=2).map(tuple),
)
_EPISODES = st.builds(
    Episode,
    location=_TEXTS,
    trouble=_TEXTS,
    count=_INTEGERS,
    errno=_INTEGERS,
    lines=st.lists(_TEXTS, max_size=2).map(tuple),
)
_SOFTWARE = st.builds(
    Software,
    seen=st.lists(_TEXTS, max_size=2).map(tuple),
    switches=st.lists(_TEXTS, max_size=2).map(tuple),
    blacklisted=st.lists(st.builds(Blacklisted, module=_TEXTS, where=_TEXTS), max_size=2).map(tuple),
    drivers_for=st.dictionaries(_NAMES, st.lists(_TEXTS, max_size=2).map(tuple), max_size=2),
    loaded=st.lists(_TEXTS, max_size=2).map(tuple),
)


def captures() -> st.SearchStrategy[Capture]:
    """Any capture whose texts are Unicode, whose integers JSON can hold, and whose nodes have each its own place."""
    return st.builds(
        Capture,
        taken_at=_TEXTS,
        tool=_TEXTS,
        system=st.builds(
            System, platform=_TEXTS, kernel=_TEXTS, source=_TEXTS, privileged=st.booleans(), virtual=_TEXTS
        ),
        unit=st.builds(UnitStrings, sys_vendor=_TEXTS, product_name=_TEXTS, chassis_type=_TEXTS),
        coverage=st.lists(_COVERAGES, max_size=2).map(tuple),
        nodes=st.lists(_NODES, max_size=3, unique_by=lambda node: (node.bus, node.location)).map(tuple),
        episodes=st.lists(_EPISODES, max_size=2).map(tuple),
        software=_SOFTWARE,
    )
