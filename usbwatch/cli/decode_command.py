"""``usbwatch decode``: the raw bytes of a capture, field by field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example, json_option

if TYPE_CHECKING:
    from usbwatch.model import Capture, Node

__all__ = ["decode"]


@click.command(epilog=example("usbwatch decode before.json", "usbwatch decode before.json pci0000:00/14.0/usb2/5"))
@click.argument("capture", metavar="CAPTURE", type=click.Path(allow_dash=True, readable=False))
@click.argument("location", metavar="[LOCATION]", required=False)
@json_option
def decode(capture: str, location: str | None, *, as_json: bool) -> int:
    """Show the raw bytes of a capture, field by field.

    USB descriptors, HID reports, EDID: each field with its offset, its bytes, its
    value and what that means; what is wrong with them; what was not
    decoded. With LOCATION, or an ending that one location alone has,
    only what is there, and what hangs on it.
    """
    from usbwatch.cli.screen import page_width, show, write
    from usbwatch.cli.taking import loaded
    from usbwatch.show import json_text
    from usbwatch.show.decode_view import decode_document, decode_view

    read = loaded(capture)
    nodes = _nodes(read, location, capture)
    if as_json:
        write(json_text(decode_document(read, nodes)))
    else:
        show(decode_view(nodes, page_width()))
    return exits.WELL


def _nodes(capture: Capture, location: str | None, path: str) -> tuple[Node, ...]:
    """The nodes at a place and beyond it, all without one. Raises ``BadCapture`` when nothing is there."""
    from usbwatch.errors import BadCapture

    if location is None:
        return capture.nodes
    there = _at(capture, location) or _at(capture, _whole(capture, location))
    if not there:
        where = "on standard input" if path == "-" else path
        raise BadCapture(where, f"has nothing at {location}", _remedy(capture, location))
    return tuple(there)


def _at(capture: Capture, location: str) -> list[Node]:
    from usbwatch.model import hangs_on

    return [node for node in capture.nodes if node.location == location or hangs_on(node.location, location)]


def _whole(capture: Capture, ending: str) -> str:
    """The one location that ends so; the ending itself where none does or several do."""
    fitting = {node.location for node in capture.nodes if node.location.endswith(f"/{ending}")}
    return fitting.pop() if len(fitting) == 1 else ending


def _remedy(capture: Capture, location: str) -> str:
    import difflib

    fitting = sorted({node.location for node in capture.nodes if node.location.endswith(f"/{location}")})
    if fitting:
        return f"several end so: {', '.join(fitting[:3])}"
    near = difflib.get_close_matches(location, {node.location for node in capture.nodes if node.raw}, n=3, cutoff=0.6)
    return f"it has {', '.join(sorted(near))}" if near else "leave LOCATION out to see all that it holds"
