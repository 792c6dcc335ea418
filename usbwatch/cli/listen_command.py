"""``usbwatch listen``: take captures that a kit posts to this computer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example, profile_names

if TYPE_CHECKING:
    from usbwatch.cli.listening import Request

__all__ = ["listen"]


class _Port(click.Option):
    """The port, with the kit's own default looked up when it is needed: the group's help loads no other room."""

    def get_default(self, ctx: click.Context, call: bool = True) -> int:  # noqa: ARG002 - click's own
        from usbwatch.kit.port import DEFAULT_PORT

        return DEFAULT_PORT


@click.command(
    epilog=example("usbwatch listen", "usbwatch listen --address 192.168.7.1 --into captures-of-today --full")
)
@click.option(
    "--address",
    metavar="ADDRESS",
    default="127.0.0.1",
    show_default=True,
    help="Listen at this address of this computer; 0.0.0.0 or :: for all (it shows which those are).",
)
@click.option(
    "--port",
    cls=_Port,
    type=click.IntRange(0, 65535),
    metavar="NUMBER",
    show_default=True,
    help="Listen at this port; 0: any that is free.",
)
@click.option(
    "--into", type=click.Path(file_okay=False), metavar="DIR", default=".", help="Keep captures here; else right here."
)
@click.option(
    "--same-code",
    is_flag=True,
    help="One code for all captures of this run, and not a new one for each; for a kit that holds the code.",
)
@click.option("--profile", metavar="NAME|FILE", shell_complete=profile_names, help="Compare with this profile.")
@click.option("--full", is_flag=True, help="Show the whole check of each capture, and not its verdict alone.")
@click.option("--json", "as_json", is_flag=True, help="Print one line of JSON for each capture instead of text.")
def listen(
    address: str, port: int, into: str, *, same_code: bool, profile: str | None, full: bool, as_json: bool
) -> int:
    """Take captures that a kit posts, over the network or a cable.

    Each is kept as a file, checked, and its verdict shown as it comes. Other computers reach this one
    only where --address says so, and must then show the code that is on this
    screen. What is sent is not encrypted. Ctrl-C ends it.
    """
    from usbwatch.cli.listening import serve

    serve(_request(address, port, into, profile, same_code=same_code, full=full, as_json=as_json))
    return exits.WELL


def _request(
    address: str, port: int, into: str, profile: str | None, *, same_code: bool, full: bool, as_json: bool
) -> Request:
    """What was asked for, with what can be wrong about it found before anything is opened."""
    from pathlib import Path

    from usbwatch.cli.listening import Request
    from usbwatch.errors import UnwritableOutput

    if not Path(into).is_dir():
        raise UnwritableOutput(into, "is no folder", "make it first, or name another with --into")
    if profile is not None:
        from usbwatch.profile import find

        find(profile)
    return Request(
        address=_numeric(address),
        port=port,
        folder=Path(into).resolve(),
        same_code=same_code,
        profile=profile,
        full=full,
        as_json=as_json,
    )


def _numeric(address: str) -> str:
    import ipaddress

    bare = address.strip("[]")
    try:
        ipaddress.ip_address("127.0.0.1" if bare == "localhost" else bare)
    except ValueError:
        raise click.BadParameter(
            "give an address of this computer in numbers, such as 192.168.7.1.", param_hint="--address"
        ) from None
    return "127.0.0.1" if bare == "localhost" else bare
