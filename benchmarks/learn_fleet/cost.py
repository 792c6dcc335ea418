"""What learning costs: the command itself, in a process of its own, on files."""

from __future__ import annotations

import json
import os
import sys
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from benchmarks.learn_fleet.fleet import captures, plan
from benchmarks.learn_fleet.layouts import wide
from usbwatch.capture import to_json

__all__ = ["Cost", "measured"]

_PAIRS = 30
"""Pairs of captures that the peer compares."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """CPU seconds (user and system together) and memory."""

    captures: int
    devices: int
    megabytes: float
    """Size of all files."""
    cpu_s: float
    peak_mb: float
    learnt: int
    """Devices that were learnt."""
    pair_s: float
    """Of one comparison of two documents by the peer."""
    pairs: int


def measured(count: int) -> Cost:
    """Learning from ``count`` captures of a 60-device unit."""
    layout = wide()
    rng = Random("cost")
    with TemporaryDirectory() as folder:
        made = plan(rng, layout)
        size = 0
        for number, one in enumerate(captures(rng, made, count)):
            text = to_json(one.capture)
            size += len(text)
            (Path(folder) / f"unit-{number:05d}.json").write_text(text, encoding="utf-8")
        sample = sorted(Path(folder).iterdir())[: _PAIRS + 1]
        pair_s = _peer([json.loads(path.read_text(encoding="utf-8")) for path in sample])
        learnt, cpu_s, peak_mb = _command(folder)
    return Cost(
        captures=count,
        devices=len(layout.parts),
        megabytes=size / 1e6,
        cpu_s=cpu_s,
        peak_mb=peak_mb,
        learnt=learnt,
        pair_s=pair_s,
        pairs=_PAIRS,
    )


def _command(folder: str) -> tuple[int, float, float]:
    """Devices learnt, CPU seconds and peak resident megabytes of ``usbwatch profile learn`` on a folder."""
    with TemporaryDirectory() as beside:
        result = Path(beside) / "learnt.json"
        out = os.open(result, os.O_WRONLY | os.O_CREAT)
        child = os.posix_spawn(
            sys.executable,
            [sys.executable, "-m", "usbwatch", "profile", "learn", folder, "--json"],
            dict(os.environ),
            file_actions=[(os.POSIX_SPAWN_DUP2, out, 1)],
        )
        _, status, usage = os.wait4(child, 0)
        os.close(out)
        assert os.waitstatus_to_exitcode(status) == 0, "the command failed"
        learnt = len(json.loads(result.read_text(encoding="utf-8"))["devices"])
    return learnt, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def _peer(documents: list[dict[str, object]]) -> float:
    """Mean CPU seconds in which deepdiff compares two captures, their nodes by bus and location."""
    from deepdiff import DeepDiff

    plain = [_keyed(one) for one in documents]
    begun = time.process_time()
    for before, after in pairwise(plain):
        DeepDiff(before, after)
    return (time.process_time() - begun) / (len(plain) - 1)


def _keyed(document: dict[str, object]) -> dict[str, object]:
    nodes = document["nodes"]
    assert isinstance(nodes, list)
    return {f"{node['bus']} {node['location']}": node for node in nodes}
