"""The kit, laid out once."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.kits import add_all_buses, lay_out_kit
from support.sysfs import build
from support.units import LARCH


@pytest.fixture(scope="session")
def kit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the files of a kit; tests copy it."""
    return lay_out_kit(tmp_path_factory.mktemp("kit"))


@pytest.fixture(scope="session")
def full_tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented laptop's tree with a part on every bus."""
    root = build(LARCH, tmp_path_factory.mktemp("all-buses"))
    add_all_buses(root)
    return root
