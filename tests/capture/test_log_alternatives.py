"""Many patterns at once say the same as each of them alone, in order."""

from __future__ import annotations

import re

import pytest

from usbwatch.capture.log.alternatives import Alternatives

PATTERNS = (r"port (?P<port>\d)(?P<rest>:.*)?\Z", r"(?:error|errno) (?P<errno>-\d+)|no answer\Z", r"port .*\Z")


@pytest.mark.parametrize(
    ("text", "number", "groups"),
    [
        pytest.param("port 3", 0, {"port": "3", "rest": None}, id="a group left out is none"),
        pytest.param("port 3: on", 0, {"port": "3", "rest": ": on"}, id="the first that fits holds"),
        pytest.param("port three", 2, {}, id="a later one where an earlier one began to fit"),
        pytest.param("errno -71", 1, {"errno": "-71"}, id="groups are those of the pattern that fits"),
        pytest.param("no answer", 1, {"errno": None}, id="the other side of a pattern's own choice"),
    ],
)
def test_which_pattern_fits(text: str, number: int, groups: dict[str, str | None]) -> None:
    assert Alternatives(PATTERNS).match(text) == (number, groups)
    alone = [re.match(pattern, text) for pattern in PATTERNS]
    assert next(place for place, found in enumerate(alone) if found) == number


@pytest.mark.parametrize("text", ["", "a port 3", "no answer yet", "error 71"])
def test_none_fits(text: str) -> None:
    assert Alternatives(PATTERNS).match(text) is None


def test_no_pattern_fits_nothing() -> None:
    assert Alternatives([]).match("anything") is None


def test_a_common_beginning_belongs_to_each() -> None:
    driven = Alternatives([r" (?P<name>\d+-\d+): ", r": probe of (?P<name>\d+-\d+) "], beginning=r"\w+")
    assert driven.match("uvcvideo 1-5: ") == (0, {"name": "1-5"})
    assert driven.match("usbhid: probe of 1-4 ") == (1, {"name": "1-4"})
    assert driven.match(" 1-5: ") is None
