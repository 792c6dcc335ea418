"""Every command says what it does, how it is typed, and says it on standard output."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator

import click
import pytest

from usbwatch import __version__
from usbwatch.cli import exits, main, usbwatch
from usbwatch.cli.on_call import OnCallGroup
from usbwatch.cli.unit import unit


def commands(command: click.Command, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    yield path
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            below = command.get_command(context, name)
            assert below is not None
            yield from commands(below, (*path, name))


PATHS = sorted(commands(usbwatch))


def test_all_commands_are_there() -> None:
    assert PATHS == [
        (),
        ("capture",),
        ("check",),
        ("decode",),
        ("demo",),
        ("diff",),
        ("handcheck",),
        ("kit",),
        ("listen",),
        ("localise",),
        ("profile",),
        ("profile", "add"),
        ("profile", "draft"),
        ("profile", "learn"),
        ("profile", "list"),
        ("profile", "show"),
        ("profile", "validate"),
        ("report",),
        ("stick",),
        ("unit",),
        ("unit", "amend"),
        ("unit", "answer"),
        ("unit", "attach"),
        ("unit", "baseline"),
        ("unit", "capture"),
        ("unit", "close"),
        ("unit", "export"),
        ("unit", "find"),
        ("unit", "get"),
        ("unit", "history"),
        ("unit", "import"),
        ("unit", "list"),
        ("unit", "note"),
        ("unit", "open"),
        ("unit", "reopen"),
        ("unit", "show"),
        ("unit", "step"),
        ("watch",),
    ]


@pytest.mark.parametrize("group", [usbwatch, unit], ids=["usbwatch", "unit"])
def test_a_group_says_of_each_command_what_the_command_says_itself(group: OnCallGroup) -> None:
    """Its list is written down beside them, so that it needs none of them imported."""
    assert group.on_call
    for name, one in group.on_call.items():
        command = group.get_command(click.Context(group), name)
        assert command is not None
        assert (command.name, command.get_short_help_str(limit=80)) == (name, one.does)


@pytest.mark.parametrize("flag", ["-h", "--help"])
@pytest.mark.parametrize("path", PATHS, ids=[" ".join(path) or "usbwatch" for path in PATHS])
def test_help(path: tuple[str, ...], flag: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*path, flag]) == 0
    shown = capsys.readouterr()
    rows = shown.out.splitlines()
    assert shown.err == ""
    assert rows[0].startswith(" ".join(["Usage: usbwatch", *path]))
    assert max(len(row) for row in rows) <= 80
    example = rows.index("  Example:")
    assert rows[example + 1].startswith(" ".join(["    usbwatch", *path]))


@pytest.mark.parametrize("path", PATHS, ids=[" ".join(path) or "usbwatch" for path in PATHS])
def test_no_summary_is_cut_in_its_group(path: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    main([*path, "--help"])
    shown = capsys.readouterr().out
    typed_in_number = (
        "[ARGS]...",
        "[UNIT]...",
        "[CAPTURE]...",
        "[CAPTURE|UNIT]...",
        "[CHECK]...",
        "CHECK=yes|no...",
        "TEXT...",
    )
    for several in (*typed_in_number, "FILE|FOLDER...", "FILE..."):
        shown = shown.replace(several, "")
    assert "..." not in shown


def test_the_group_alone_shows_its_help_on_standard_error(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith("Usage: usbwatch [OPTIONS] COMMAND")


def test_version_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"usbwatch, version {__version__}\n"


@pytest.mark.parametrize(
    "said", [["--help"], ["--version"], ["unit", "--help"], ["unit", "open", "--help"]], ids=" ".join
)
def test_help_and_version_load_nothing_but_click_and_the_commands(said: list[str]) -> None:
    code = (
        "import sys\nfrom usbwatch.cli import main\n"
        f"main({said})\n"
        "print(*sorted(name for name in sys.modules if name.partition('.')[0] in "
        "{'usbwatch', 'rich', 'msgspec', 'jsonschema', 'deepdiff', 'platformdirs', "
        "'sqlite3', 'zstandard', 'psycopg', 'h11', 'asyncio'}), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    loaded = done.stderr.split()
    assert "usbwatch.cli.commands" in loaded
    assert [name for name in loaded if name not in _LIGHT and not name.startswith("usbwatch.cli")] == []


_LIGHT = ("usbwatch", "usbwatch.safe")
"""The package itself, and the rule for foreign strings, which needs nothing."""


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_completion_script_is_printed(shell: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "usbwatch"],
        env={"_USBWATCH_COMPLETE": f"{shell}_source", "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    if done.returncode == 0:
        assert "_USBWATCH_COMPLETE" in done.stdout
    else:  # click asks bash for its version, and there may be no bash
        assert "bash" in done.stderr.lower()


def test_a_command_that_there_is_not_is_told_with_those_that_are_near(capsys: pytest.CaptureFixture[str]) -> None:
    for words, said in (
        (["chekc"], "No such command 'chekc'. Did you mean check?"),
        (["unit", "captur"], "No such command 'captur'. Did you mean capture?"),
        (["xyzzy"], "No such command 'xyzzy'."),
    ):
        assert main(words) == exits.USAGE
        assert f"Error: {said}\n" in capsys.readouterr().err
