"""The group of all commands."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import click

import usbwatch as package
from usbwatch.cli.capture_command import capture
from usbwatch.cli.check_command import check
from usbwatch.cli.decode_command import decode
from usbwatch.cli.demo_command import demo
from usbwatch.cli.diff_command import diff
from usbwatch.cli.handcheck_command import handcheck
from usbwatch.cli.kit_command import kit
from usbwatch.cli.listen_command import listen
from usbwatch.cli.localise_command import localise
from usbwatch.cli.options import example
from usbwatch.cli.profile_commands import profile
from usbwatch.cli.report_command import report
from usbwatch.cli.stick_command import stick
from usbwatch.cli.unit import unit
from usbwatch.cli.watch_command import watch

__all__ = ["ClosedPipeError", "usbwatch"]


_EXITS = """\b
Exit codes: 0 whole (diff: no change), 10 something wrong (diff: changes),
11 nothing wrong found but not all seen, 2 wrong usage, 3 bad input,
130 interrupted, 141 output closed by its reader, 1 a bug in usbwatch."""


class ClosedPipeError(Exception):
    """Whoever read our output has gone. click must not see the system's own error: it would exit with 1."""


class _Group(click.Group):
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


for _command in (
    demo,
    capture,
    check,
    localise,
    diff,
    handcheck,
    watch,
    kit,
    stick,
    listen,
    decode,
    profile,
    unit,
    report,
):
    usbwatch.add_command(_command)
