"""Asking a person on a terminal: what was typed for a check does not end up in the next one, nor in the shell."""

from __future__ import annotations

import io
import os
import select
import sys

import pytest

from usbwatch.capture.watched_nodes import LiveNodes
from usbwatch.cli import hearing
from usbwatch.cli.hearing import live_bench, rights_sentence


def test_letters_pressed_for_a_check_are_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    person, terminal = os.openpty()
    with os.fdopen(terminal, "r") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        os.write(person, b"rm -r\n")
        assert select.select([terminal], [], [], 2)[0], "the line must have arrived, or the test shows nothing"
        hearing._forget_what_was_typed()
        assert not select.select([terminal], [], [], 0.2)[0]
    os.close(person)


def test_without_a_terminal_nobody_can_say_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n"))
    bench = live_bench()
    assert not bench.speaks
    with bench.opened(()) as nodes:
        assert isinstance(nodes, LiveNodes)
        assert nodes.wait(0) == ()


RIGHTS = {
    "none lacking": ({"a": "", "b": ""}, ""),
    "gone is no matter of rights": ({"a": "its node cannot be opened (No such device)"}, ""),
    "some": (
        {"a": "its node may not be opened by this user", "b": ""},
        (
            "1 of 2 nodes may not be opened by this user; run it as root, or as a member of the group that owns "
            "/dev/input (on most systems: input)."
        ),
    ),
}


@pytest.mark.parametrize(("deaf", "sentence"), RIGHTS.values(), ids=RIGHTS)
def test_rights(deaf: dict[str, str], sentence: str) -> None:
    assert rights_sentence(deaf) == sentence
