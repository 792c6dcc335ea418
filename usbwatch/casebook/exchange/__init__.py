"""Units from one casebook to another, as one file; the format is described in ``docs/casebook-archive.md``."""

from usbwatch.casebook.exchange.exporting import Exported, export_units
from usbwatch.casebook.exchange.importing import Imported, UnitImported, import_units

__all__ = ["Exported", "Imported", "UnitImported", "export_units", "import_units"]
