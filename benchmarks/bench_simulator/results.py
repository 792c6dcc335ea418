"""The pieces of a run and their files, so that a run can be stopped and taken up again.

A piece is a stretch of units of one layout in one world, or a stretch of
small problems. Each leaves one JSON file in the folder of results; the report
is made of the files that are there. A file names the code that made it, and
results of different code are never put together.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from benchmarks.bench_simulator.bench import Result
from benchmarks.bench_simulator.scoring import CLAIMS, NUMBERS, Claim, Scores

__all__ = ["SMALL", "MadeByOtherCode", "Piece", "Results", "Run", "pieces"]

SMALL = "small-problems"
"""Stands for the world of the pieces that are small problems."""

_UNITS_A_PIECE, _PROBLEMS_A_PIECE = 100, 10
_HERE = Path(__file__).parent
_PACKAGE = _HERE.parents[1] / "usbwatch"
_DECIDES = (_PACKAGE / "localise", _PACKAGE / "plan", _PACKAGE / "model", _HERE)
_ONLY_TELLS = frozenset({"report.py", "run.py", "results.py"})
"""Modules of the simulator that no result depends on."""


class MadeByOtherCode(Exception):
    """A folder holds results of another state of the code."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path} was made by another state of the code: take another folder, or empty this one.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What is to be played."""

    layouts: tuple[str, ...]
    worlds: tuple[str, ...]
    units: int
    """Per layout and world."""
    problems: int
    seed: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Units, or small problems, from ``first`` up to and without ``last``."""

    world: str
    layout: str = ""
    """"" for small problems."""
    first: int
    last: int
    seed: int

    @property
    def file(self) -> str:
        """Name of its file."""
        where = f"{self.world}.{self.layout}" if self.layout else self.world
        return f"{where}.{self.first:05}-{self.last:05}.seed-{self.seed}.json"


def pieces(run: Run) -> Iterator[Piece]:
    """All pieces of a run; small problems first, then all worlds and layouts side by side."""
    for first in range(0, run.problems, _PROBLEMS_A_PIECE):
        last = min(run.problems, first + _PROBLEMS_A_PIECE)
        yield Piece(world=SMALL, first=first, last=last, seed=run.seed)
    for first in range(0, run.units, _UNITS_A_PIECE):
        last = min(run.units, first + _UNITS_A_PIECE)
        for world in run.worlds:
            for layout in run.layouts:
                yield Piece(world=world, layout=layout, first=first, last=last, seed=run.seed)


@dataclass(frozen=True, slots=True)
class Results:
    """A folder of results."""

    folder: Path
    made_by: str

    @classmethod
    def of(cls, folder: Path) -> Results:
        """The folder, made where it is not there, for results of the code as it stands."""
        folder.mkdir(parents=True, exist_ok=True)
        return cls(folder, _code())

    def has(self, piece: Piece) -> bool:
        """Whether a piece is there. Raises ``MadeByOtherCode``."""
        return self._read(piece) is not None

    def write(self, piece: Piece, told: Scores | dict[str, float], cpu_seconds: float) -> None:
        """Keep what a piece came to; the file is there whole or not at all."""
        scores = _packed(told) if isinstance(told, Scores) else told
        document = {"made_by": self.made_by, "piece": asdict(piece), "cpu_seconds": cpu_seconds, "scores": scores}
        unfinished = self.folder / f"{piece.file}.part"
        unfinished.write_text(json.dumps(document), "utf-8")
        unfinished.replace(self.folder / piece.file)

    def scores(self, world: str, wanted: Sequence[Piece]) -> dict[str, Scores]:
        """By layout, what those of the pieces that are there came to. Raises ``MadeByOtherCode``."""
        found: dict[str, Scores] = {}
        for piece in wanted:
            document = self._read(piece) if piece.world == world else None
            if document is not None:
                found.setdefault(piece.layout, Scores()).add(_unpacked(document["scores"]))
        return found

    def small(self, wanted: Sequence[Piece]) -> dict[str, float]:
        """The summed costs of the small problems that are there, by policy. Raises ``MadeByOtherCode``."""
        sums: dict[str, float] = {}
        for piece in wanted:
            document = self._read(piece) if piece.world == SMALL else None
            for name, cost in document["scores"].items() if document is not None else ():
                sums[name] = sums.get(name, 0.0) + cost
        return sums

    def cpu_seconds(self, wanted: Sequence[Piece]) -> float:
        """What the pieces that are there took."""
        documents = (self._read(piece) for piece in wanted)
        return float(sum(document["cpu_seconds"] for document in documents if document is not None))

    def _read(self, piece: Piece) -> dict[str, Any] | None:
        path = self.folder / piece.file
        if not path.exists():
            return None
        document: dict[str, Any] = json.loads(path.read_text("utf-8"))
        if document["made_by"] != self.made_by:
            raise MadeByOtherCode(path)
        return document


def _code() -> str:
    """A digest of all modules that a result depends on."""
    digest = hashlib.sha256()
    for folder in _DECIDES:
        for path in sorted(folder.rglob("*.py")):
            if not (folder == _HERE and path.name in _ONLY_TELLS):
                digest.update(path.relative_to(folder.parent).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()[:16]


_COLUMNS = ("total", "bought", "wrong_parts", "given_up", "sent_out_faulty", "steps")
"""The fields of ``Result`` that are kept."""


def _packed(scores: Scores) -> dict[str, Any]:
    results = {
        policy: {name: [getattr(each, name) for each in results] for name in _COLUMNS}
        for policy, results in scores.results.items()
    }
    return {"results": results} | {name: getattr(scores, name) for name in (*CLAIMS, *NUMBERS)}


def _unpacked(told: dict[str, Any]) -> Scores:
    scores = Scores(results={policy: list(_results(columns)) for policy, columns in told["results"].items()})
    for name in CLAIMS:
        getattr(scores, name).extend(Claim(*each) for each in told[name])
    for name in NUMBERS:
        getattr(scores, name).extend(told[name])
    return scores


def _results(columns: dict[str, list[Any]]) -> Iterator[Result]:
    for row in zip(*(columns[name] for name in _COLUMNS), strict=True):
        yield Result(**dict(zip(_COLUMNS, row, strict=True)), histories=())
