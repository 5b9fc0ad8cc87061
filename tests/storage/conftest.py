"""An archive in a fresh folder, and the small recorder of `hall.py` to fill it."""

from collections.abc import Callable
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def hall(load: Callable[[str, str], ModuleType]) -> ModuleType:
    """The module `hall.py` beside this file."""
    return load("storage_test_hall", "storage/hall.py")
