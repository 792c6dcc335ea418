"""atheris around one target after another, each in a process of its own that was forked when all code was instrumented.

A finding does not end a run: its input is written into a folder once for each place in the code at which it arose.
libFuzzer itself ends the process for a hang and for too much memory.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import pkgutil
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from random import Random

import atheris
from fuzz.target import Target, held

__all__ = ["alone", "instrument", "run"]

_ALSO = ("h11", "tomllib", "tomlkit")
"""Libraries in Python that read a stranger's bytes for us: the fuzzer sees their ways, too."""
_TIMES = 20
_LEFT_OUT = ("usbwatch.__main__", "usbwatch.onboard.__main__")


def instrument() -> dict[str, Target]:
    """The targets, once every module of usbwatch is loaded with its branches counted. To be called first of all."""
    with atheris.instrument_imports(include=["usbwatch", *_ALSO], enable_loader_override=False):
        import usbwatch

        for found in pkgutil.walk_packages(usbwatch.__path__, "usbwatch."):
            if found.name not in _LEFT_OUT:
                with contextlib.suppress(ImportError):  # of an extra that is not installed
                    importlib.import_module(found.name)
        for name in _ALSO:
            importlib.import_module(name)
    from fuzz.table import TARGETS

    return TARGETS


def run(target: Target, options: Sequence[str], findings: Path, log: Path) -> tuple[int, float]:
    """One run in a process of its own: how that ended (``os.waitstatus_to_exitcode``), seconds of processor time."""
    child = os.fork()
    if child == 0:
        handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o666)
        os.dup2(handle, 1)
        os.dup2(handle, 2)
        try:
            _fuzz(target, options, findings)
        finally:
            os._exit(70)
    _, status, used = os.wait4(child, 0)
    return os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime


def alone(target: Target, data: bytes) -> tuple[float, float]:
    """What one input takes in a process of its own, instrumented as it is: seconds of processor time, and MB.

    The MB are those after many times: what a run keeps of each would be seen.
    """
    child = os.fork()
    if child == 0:
        for _ in range(_TIMES):
            with contextlib.suppress(BaseException):
                held(target, data)
        os._exit(0)
    used = os.wait4(child, 0)[2]
    return used.ru_utime / _TIMES, used.ru_maxrss / 1024


def _fuzz(target: Target, options: Sequence[str], findings: Path) -> None:
    mutate = target.mutate

    def structured(data: bytes, most: int, seed: int) -> bytes:
        """By structure in three of four cases; what does not come out as structure is left to libFuzzer."""
        chance = Random(seed)  # so that a run can be repeated
        if mutate is not None and chance.randrange(4):
            with contextlib.suppress(Exception):  # a library of ours that chokes on the input is none of the target's
                changed = mutate(bytes(data), chance)
                if len(changed) <= most:
                    return changed
        mutated: bytes = atheris.Mutate(data, most)
        return mutated

    more = {"custom_mutator": structured} if mutate is not None else {}
    atheris.Setup([sys.argv[0], *options], _noting(target, findings), **more)
    atheris.Fuzz()


def _noting(target: Target, folder: Path) -> Callable[[bytes], None]:
    known = {path.stem for path in folder.iterdir()}

    def one(data: bytes) -> None:
        try:
            held(target, data)
        except Exception as error:
            place = _place(error)
            if place not in known:
                known.add(place)
                (folder / place).write_bytes(data)
                told = "".join(traceback.format_exception(error))
                (folder / f"{place}.txt").write_text(told, "utf-8", "backslashreplace")
                os.write(2, f"FINDING {target.name} {place}\n".encode())

    return one


def _place(error: BaseException) -> str:
    """Where and as what a finding arose: the innermost frame of usbwatch, of the target where none is on the way."""
    frames = traceback.extract_tb(error.__traceback__)
    last = [one for one in frames if "/usbwatch/" in one.filename] or list(frames)
    return f"{type(error).__name__}-{Path(last[-1].filename).stem}-{last[-1].name.strip('<>')}"
