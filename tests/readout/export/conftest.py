"""The invented meter of the review's tests, and an archive to export."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def hall() -> ModuleType:
    """The module `review/hall.py`."""
    file = Path(__file__).parents[1] / "review" / "hall.py"
    spec = importlib.util.spec_from_file_location("review_test_hall", file)
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
