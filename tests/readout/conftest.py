"""The invented meter of the review's tests, for whatever is made of its archives."""

from collections.abc import Callable
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def hall(load: Callable[[str, str], ModuleType]) -> ModuleType:
    """The module `review/hall.py`: an invented meter and how archives are filled."""
    return load("review_test_hall", "readout/review/hall.py")
