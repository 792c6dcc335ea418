"""One row of the table, and the table as text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["HEAD", "Row", "table"]

HEAD = "| job | ours | peer | peer's | ours / peer | |\n| --- | ---: | --- | ---: | ---: | --- |"


_WHOLE = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A job of ours beside a peer's, both in ``unit``, measured in turns in the same run."""

    job: str
    ours: float
    peer: str
    peers: float
    unit: str = "ms CPU"
    bar: float | None = None
    """What the ratio may be at most, where a bar is set."""
    most: float | None = None
    """What ``ours`` may be at most, where a bar is set."""
    note: str = ""

    @property
    def ratio(self) -> float:
        """Ours divided by the peer's; below 1 is less than the peer."""
        return self.ours / self.peers

    @property
    def remark(self) -> str:
        """Whether the bars are met, and what else is to be said."""
        said = [self.note] if self.note else []
        for bar, is_, unit in ((self.bar, self.ratio, ""), (self.most, self.ours, f" {self.unit}")):
            if bar is not None:
                said.append(f"at most {bar:g}{unit} is wanted: {'met' if is_ <= bar else 'not met'}")
        return "; ".join(said)

    def __str__(self) -> str:
        """A line of a Markdown table."""
        ours, peers = (f"{_figure(value)} {self.unit}" for value in (self.ours, self.peers))
        return f"| {self.job} | {ours} | {self.peer} | {peers} | {self.ratio:.2f} | {self.remark} |"


def _figure(value: float) -> str:
    """Three digits, and no fewer than there are before the point."""
    return f"{value:.0f}" if value >= _WHOLE else f"{value:.3g}"


def table(rows: Iterable[Row]) -> str:
    """All of them as Markdown."""
    return "\n".join([HEAD, *map(str, rows)])
