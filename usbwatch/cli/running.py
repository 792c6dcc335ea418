"""One run of the command from its arguments to its exit code.

click ends with 1 for an interrupt, for a closed pipe and for a traceback alike.
Here each gets its own code, and 1 is left for our own mistakes.
"""

from __future__ import annotations

import atexit
import errno
import gc
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass

import click

from usbwatch.cli import exits
from usbwatch.cli.commands import ClosedPipeError, usbwatch

__all__ = ["let_go", "main"]


_UNWRITABLE = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EBADF})
"""What the system answers when standard output takes no more."""


@dataclass(slots=True, kw_only=True)
class _Run:
    """What the whole run shares; the group's options are written into it."""

    debug: bool


def main(arguments: Sequence[str] | None = None) -> int:
    """The exit code of one run; ``arguments`` are the process's own when not given."""
    _start_lightly()
    run = _Run(debug=os.environ.get("USBWATCH_DEBUG", "") not in ("", "0"))
    try:
        return _invoked(arguments, run)
    except (BrokenPipeError, ClosedPipeError):
        return exits.CLOSED_PIPE
    except KeyboardInterrupt:  # before click was there to turn it into its own
        return exits.INTERRUPTED
    except Exception as error:  # noqa: BLE001 - the one place where a bug of ours becomes a sentence
        return _after_error(error, run)
    finally:
        let_go()


def _start_lightly() -> None:
    """What makes a short run cheaper, and a long one no worse.

    Importing makes many objects that all stay: looking for garbage after each 700 of them (Python's default) took a
    twentieth of a whole ``check``; and looking through all of them once more at the end, when the process lets go of
    them anyway, another 3 %. And numpy is used for tables that no second thread would help with.
    """
    gc.set_threshold(max(gc.get_threshold()[0], 20_000))
    atexit.unregister(gc.freeze)  # once, however often a process runs commands
    atexit.register(gc.freeze)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _invoked(arguments: Sequence[str] | None, run: _Run) -> int:
    """The exit code of the command itself, with the endings that are click's own turned into ours."""
    try:
        code = usbwatch.main(arguments, prog_name="usbwatch", standalone_mode=False, obj=run)
    except click.Abort:
        click.echo("usbwatch: interrupted.", err=True)
        return exits.INTERRUPTED
    except click.ClickException as error:
        return _after_misuse(error)
    return code if isinstance(code, int) else exits.WELL


def _after_misuse(error: click.ClickException) -> int:
    from usbwatch.cli.screen import say

    if type(error).__name__ == "NoArgsIsHelpError":  # click 8.2 and later; its message is the whole help
        say(error.format_message())
        return exits.USAGE
    if isinstance(error, click.UsageError):
        usage = f"{error.ctx.get_usage()}\n" if error.ctx else ""
        hint = f"Try '{error.ctx.command_path} --help' for help.\n" if error.ctx else ""
        say(f"{usage}{hint}Error: {error.format_message()}".replace("\t", "  "))  # click sets lists in by tabs
        return exits.USAGE
    say(f"Error: {error.format_message()}")
    return exits.BAD_INPUT


def _after_error(error: Exception, run: _Run) -> int:
    from usbwatch.cli.screen import say
    from usbwatch.errors import UsbwatchError

    if run.debug:
        import traceback

        say("".join(traceback.format_exception(error)))
    if isinstance(error, UsbwatchError):
        say(f"usbwatch: {error}")
        return error.exit_code
    if isinstance(error, OSError) and error.errno in _UNWRITABLE and error.filename is None:
        say(f"usbwatch: the output cannot be written: {error.strerror}.")
        return exits.BAD_INPUT
    advice = "" if run.debug else " Run it again as usbwatch --debug …, and report what that prints."
    say(f"usbwatch: this is a bug in usbwatch itself: {type(error).__name__}: {error}.{advice}")
    return exits.BUG


def let_go() -> None:
    """Leave nothing in a buffer that cannot be written: Python would fail over it while it ends."""
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
