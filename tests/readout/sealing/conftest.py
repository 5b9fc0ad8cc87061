"""The invented meter of `hall.py`, and where an archive may be made."""

from collections.abc import Callable
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def meter(load: Callable[[str, str], ModuleType]) -> ModuleType:
    """The module `hall.py` beside this file."""
    return load("sealing_test_hall", "readout/sealing/hall.py")
