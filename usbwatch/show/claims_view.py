"""What a capture could not say for want of rights: short, and only when there is something."""

from __future__ import annotations

from usbwatch.model import Claim
from usbwatch.show.checked import Checked
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading
from usbwatch.show.words import listed

__all__ = ["claim_lines"]


def claim_lines(checked: Checked) -> list[Line]:
    """The section on what the same look as root would say beyond this one; nothing where root would add nothing."""
    lacking = [claim for claim in checked.findings.claims if claim.needs_root and not claim.made]
    if not lacking:
        return []
    return [*heading("What only root could say"), *(_claim_line(claim, checked) for claim in lacking)]


def _claim_line(claim: Claim, checked: Checked) -> Line:
    names = {device.id: device.name for device in checked.profile.devices}
    devices = [safe(names.get(one, one), 60) for one in claim.devices]
    said = (f"; bears on {listed(devices)}", Style.FAINT) if devices else ""
    return line("  ", safe(claim.what), said, hang=4)
