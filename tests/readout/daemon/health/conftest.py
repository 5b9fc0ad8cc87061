"""The invented header meter of the review's tests, and where an archive may be made."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

HALL = Path(__file__).parents[2] / "review" / "hall.py"


@pytest.fixture(scope="session")
def hall() -> ModuleType:
    """The module `hall.py` of the review's tests."""
    spec = importlib.util.spec_from_file_location("health_test_hall", HALL)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Where an archive may be made."""
    return tmp_path / "archive"
