"""The small invented unit on a bench with a casebook, and the command run there in this process."""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from support.bench import lay_out, small_capture, small_tree

from usbwatch.capture import to_json
from usbwatch.casebook import Story, open_book
from usbwatch.cli import main
from usbwatch.errors import BadBook
from usbwatch.model import UnitStrings

__all__ = ["Bench", "Done", "laid_out", "set_zone"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What one run of the command gave."""

    code: int
    out: str
    err: str

    @property
    def said(self) -> str:
        """Both streams with line breaks folded."""
        return " ".join(f"{self.out} {self.err}".split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A folder with captures, and the casebook that the commands use there."""

    folder: Path
    address: str
    capsys: pytest.CaptureFixture[str]

    def run(self, *words: str) -> Done:
        """One command, such as ``run("check", "LB-0001")``. No command may ever show a traceback."""
        self.capsys.readouterr()
        code = main(list(words))
        shown = self.capsys.readouterr()
        assert "Traceback" not in shown.err
        assert code != 1, shown.err
        return Done(code=code, out=shown.out, err=shown.err)

    def unit(self, *words: str) -> Done:
        """The same for ``usbwatch unit …``."""
        return self.run("unit", *words)

    def well(self, *words: str) -> Done:
        """The same for one that must end well: with 0, or with what a check of the unit found."""
        done = self.unit(*words)
        assert done.code in (0, 10, 11), done.err
        return done

    def refused(self, code: int, *words: str) -> str:
        """The one sentence with which a command is refused, when it recorded nothing and printed nothing."""
        before = self.held()
        done = self.unit(*words)
        assert (done.code, done.out) == (code, ""), done
        assert self.held() == before
        lines = done.err.removesuffix("\n").split("\n")
        assert all(line.isprintable() for line in lines)
        if code == 3:
            assert len(lines) == 1
        return " ".join(done.err.split())

    def told(self, label: str = "LB-0001") -> Story:
        """What the casebook has of a unit."""
        book = open_book(self.address)
        try:
            return book.story(book.unit(label))
        finally:
            book.close()

    def facts(self, label: str = "LB-0001") -> list[Any]:
        """What stands of a unit, oldest first, without the entry that opened it."""
        return [each.fact for each in self.told(label).standings[1:]]

    def held(self) -> list[tuple[str, int]]:
        """Every unit's id with the number of its entries; nothing where there is no casebook."""
        try:
            book = open_book(self.address, must_exist=True)
        except BadBook:
            return []
        try:
            return sorted((unit.id, unit.entries) for unit in book.units())
        finally:
            book.close()

    def type(self, content: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
        """Put ``content`` on standard input."""
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(content), encoding="utf-8"))


def laid_out(folder: Path) -> Path:
    """The small unit's captures, one later than the other; of another unit and of a nameless one; a copied tree."""
    lay_out(folder)
    small_tree(folder / "tree")
    later = {"lost": small_capture(keyboard=False), "whole": replace(small_capture(), taken_at="2026-11-24T15:05:00Z")}
    other = replace(small_capture(), unit=replace(small_capture().unit, product_serial="LG-0003-DEMO"))
    nameless = replace(small_capture(), unit=UnitStrings())
    for name, capture in {**later, "other": other, "nameless": nameless}.items():
        (folder / f"{name}.json").write_text(to_json(capture), encoding="utf-8")
    return folder


@contextmanager
def set_zone(zone: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The bench's clock in another zone."""
    with monkeypatch.context() as patched:
        patched.setenv("TZ", zone)
        time.tzset()
        yield
    time.tzset()
