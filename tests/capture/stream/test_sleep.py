"""Two clocks, of which one goes on while the machine is suspended (clock_gettime(2))."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import repeat

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.capture.stream.sleep import SHORTEST_MS, SleepClock

_MS = 1_000_000


@dataclass
class Machine:
    """A machine whose program may be held up between any two readings of a clock; nanoseconds."""

    awake: int = 5_000 * _MS
    asleep: int = 70_000 * _MS
    holds: list[int] = field(default_factory=list)
    """Before each reading, for how long the program is held up; then not at all."""

    def _held(self) -> None:
        self.awake += self.holds.pop(0) if self.holds else 0

    def monotonic(self) -> int:
        self._held()
        return self.awake

    def boot(self) -> int:
        self._held()
        return self.awake + self.asleep


def test_a_suspension_is_told_once_with_how_long_it_was() -> None:
    machine = Machine()
    clock = SleepClock(machine.monotonic, machine.boot)
    machine.awake += 90_000 * _MS
    assert clock.slept_ms() == 0
    machine.asleep += 61_000 * _MS
    assert clock.slept_ms() == 61_000
    assert [clock.slept_ms() for _ in repeat(None, 3)] == [0, 0, 0]


@pytest.mark.properties
@given(st.lists(st.integers(0, 3_000 * _MS), max_size=40))
def test_a_program_that_is_held_up_is_no_sleep(holds: list[int]) -> None:
    machine = Machine(holds=holds)
    clock = SleepClock(machine.monotonic, machine.boot)
    assert [clock.slept_ms() for _ in repeat(None, 15)] == [0] * 15


@pytest.mark.properties
@given(st.lists(st.integers(0, 500 * _MS), max_size=20), st.integers(1_000 + SHORTEST_MS, 86_400_000))
def test_a_suspension_is_noticed_however_the_program_is_held_up(holds: list[int], asleep_ms: int) -> None:
    machine = Machine(holds=holds)
    clock = SleepClock(machine.monotonic, machine.boot)
    machine.asleep += asleep_ms * _MS
    assert asleep_ms - 1000 <= clock.slept_ms() <= asleep_ms


def test_the_clocks_of_this_machine_are_read() -> None:
    assert SleepClock().slept_ms() == 0
