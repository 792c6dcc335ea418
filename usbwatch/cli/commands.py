"""The group of all commands."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import click

import usbwatch as package
from usbwatch.cli.on_call import OnCall, OnCallGroup
from usbwatch.cli.options import example

__all__ = ["ClosedPipeError", "usbwatch"]


_EXITS = """\b
Exit codes: 0 whole (diff: no change), 10 something wrong (diff: changes),
11 nothing wrong found but not all seen, 2 wrong usage, 3 bad input,
130 interrupted, 141 output closed by its reader, 1 a bug in usbwatch."""

_COMMANDS = tuple(
    OnCall(name=name, home=f"usbwatch.cli.{module}:{name}", does=does)
    for name, module, does in (
        ("capture", "capture_command", "Record what a unit enumerates in a file."),
        ("check", "check_command", "Compare a unit with its profile: what is wrong, and where."),
        ("decode", "decode_command", "Show the raw bytes of a capture, field by field."),
        ("demo", "demo_command", "Show the whole job on an invented unit."),
        ("diff", "diff_command", "Show what changed from capture A to capture B."),
        ("handcheck", "handcheck_command", "Ask a person to move a part, and see what answers."),
        ("kit", "kit_command", "Write the collector to a stick, for units under test."),
        ("listen", "listen_command", "Take captures that a kit posts, over the network or a cable."),
        ("localise", "localise_command", "Say which part has failed, from all that was seen and done."),
        ("profile", "profile_commands", "List, show, draft, learn, validate and add profiles of models."),
        ("report", "report_command", "Report on a capture, or on a unit of the casebook."),
        ("stick", "stick_command", "Build a stick that starts on a unit, looks, judges and shows."),
        ("unit", "unit.group", "Follow a unit from intake to baseline, in a casebook."),
        ("watch", "watch_command", "Show live what comes and goes while you flex a cable."),
    )
)


class ClosedPipeError(Exception):
    """Whoever read our output has gone. click must not see the system's own error: it would exit with 1."""


class _Group(OnCallGroup):
    """A group in which a closed pipe is an error of ours, wherever it is noticed."""

    def make_context(self, *arguments: Any, **options: Any) -> click.Context:  # noqa: ANN401 - handed on as they are
        with _pipes_told():
            return super().make_context(*arguments, **options)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - whatever the command returns
        with _pipes_told():
            return super().invoke(ctx)


@contextmanager
def _pipes_told() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError as error:
        raise ClosedPipeError from error


@click.group(
    cls=_Group,
    on_call=_COMMANDS,
    epilog=f"{example('usbwatch demo', 'usbwatch check')}\n\n{_EXITS}",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package.__version__, prog_name="usbwatch")
@click.option("--debug", is_flag=True, help="Show where in usbwatch an error came from (or set USBWATCH_DEBUG=1).")
@click.pass_obj
def usbwatch(run: Any, *, debug: bool) -> None:  # noqa: ANN401 - any record with a ``debug`` to write to
    """Tell, from what a laptop enumerates, which part of it has failed.

    A capture reads what firmware and kernel know about every internal bus, and
    changes nothing. A check compares it with the profile of the model, says what
    is missing, and in which subassembly, cable or board section the fault lies.
    """
    if debug and run is not None:
        run.debug = True
