"""The README's own words, tried: every console block prints what it says, and its commands are the ones CI runs.

So are the console blocks of docs/localise.md.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
LOCALISE = (ROOT / "docs" / "localise.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```console\n(.*?)^```$", f"{README}\n{LOCALISE}", re.MULTILINE | re.DOTALL)


def runs() -> list[tuple[str, str]]:
    """Each command of a console block, with the output that the README shows for it."""
    return [
        (command, shown)
        for block in BLOCKS
        for command, shown in re.findall(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", block, re.MULTILINE)
    ]


def printed(command: str) -> str:
    words = shlex.split(command)
    assert words[0] == "usbwatch", command
    environment = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8", "TZ": "UTC"}
    done = subprocess.run(
        [sys.executable, "-m", "usbwatch", *words[1:]],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        check=False,
        encoding="utf-8",
    )
    assert done.returncode in (0, 10, 11), done.stderr
    return done.stdout


def test_the_tour_has_commands() -> None:
    assert len(runs()) >= 3


@pytest.mark.parametrize(("command", "shown"), runs(), ids=[command for command, _ in runs()])
def test_a_command_prints_what_the_page_shows(command: str, shown: str) -> None:
    # "[…]" on a line of its own stands for lines that the README leaves out.
    pattern = ".*?".join(re.escape(piece) for piece in re.split(r"^ *\[…\]\n", shown, flags=re.MULTILINE))
    assert re.fullmatch(pattern, printed(command), re.DOTALL), printed(command)


@pytest.mark.parametrize("mark", ["run", "test"])
def test_ci_takes_its_commands_from_the_readme(mark: str) -> None:
    block = re.search(rf"<!-- {mark} -->\n```sh\n(.+)\n```\n<!-- /{mark} -->", README)
    assert block is not None
    assert block.group(1).startswith("python3 -m venv")
    assert f"/<!-- {mark} -->/,/<!-- \\/{mark} -->/p" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
