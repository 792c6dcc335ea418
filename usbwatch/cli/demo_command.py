"""``usbwatch demo``: the whole job on an invented unit, from shipped captures."""

from __future__ import annotations

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example

__all__ = ["demo"]

HEALTHY = "larch-13-healthy.json"
FAULTY = "larch-13-top-case-lost.json"


@click.command(epilog=example("usbwatch demo"))
def demo() -> int:
    """Show the whole job on an invented unit.

    Nothing of this machine is read. A unit that does not exist has lost what sits in its top case. Its shipped
    capture is checked against its profile, and compared with the capture of the
    same unit while it was healthy.
    """
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.one_check import checked
    from usbwatch.cli.screen import page_width, show
    from usbwatch.cli.taking import loaded, local_time
    from usbwatch.compare import changes
    from usbwatch.profile import shipped
    from usbwatch.show import check_view, diff_view
    from usbwatch.show.demo_view import DEMO_END, DEMO_START, demo_step_view

    folder = shipped("captures")
    healthy, faulty = loaded(str(folder / HEALTHY)), loaded(str(folder / FAULTY))
    profile = chosen(faulty, None, may_ask=False)
    result = checked(faulty, profile)
    width = page_width()
    show(
        [
            *demo_step_view(DEMO_START, f"usbwatch check {FAULTY}"),
            *check_view(result, width, local_time(faulty.taken_at)),
            *demo_step_view("What has changed since the same unit was healthy:", f"usbwatch diff {HEALTHY} {FAULTY}"),
            *diff_view(changes(healthy, faulty), width, profile),
            *demo_step_view(DEMO_END, "usbwatch check"),
        ]
    )
    return exits.WELL
