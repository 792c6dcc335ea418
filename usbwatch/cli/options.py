"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

__all__ = ["book_option", "example", "json_option", "log_option", "profile_names", "root_option", "through_option"]

_Command = TypeVar("_Command", bound=Callable[..., Any])


def example(*commands: str) -> str:
    """The end of a command's help: how it is typed; the backspace tells click to keep the line breaks."""
    return "\b\nExample:\n" + "\n".join(f"  {command}" for command in commands)


def json_option(command: _Command) -> _Command:
    """``--json`` as the argument ``as_json``."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of text.")(command)


def root_option(command: _Command) -> _Command:
    """``--root`` as the argument ``root``."""
    return click.option(
        "--root",
        type=click.Path(readable=False),
        metavar="DIR|TAR",
        help="Read a copied tree (a folder that holds sys, and may hold proc and meta, or a tar archive of it) "
        "instead of this machine.",
    )(command)


def log_option(command: _Command) -> _Command:
    """``--log`` as the argument ``log``."""
    file = click.Path(readable=False)
    return click.option("--log", type=file, metavar="FILE", help="Read the kernel log from this file instead.")(command)


def through_option(command: _Command) -> _Command:
    """``--through`` as the argument ``through``."""
    from usbwatch.cli.taking import WAYS

    return click.option(
        "--through",
        type=click.Choice(WAYS),
        help="How to look at this machine; not given: sysfs on Linux, libusb elsewhere.",
    )(command)


def book_option(command: _Command) -> _Command:
    """``--book`` as the argument ``book``."""
    return click.option(
        "--book",
        envvar="USBWATCH_BOOK",
        metavar="FILE|URL",
        help="The casebook: a file, or postgresql://… (or set USBWATCH_BOOK).",
    )(command)


def profile_names(_context: click.Context, _parameter: click.Parameter, incomplete: str) -> list[str]:
    """The ids of the known profiles that begin so, for the shell to complete."""
    from usbwatch.profile import known

    return [profile.id for profile in known() if profile.id.startswith(incomplete)]
