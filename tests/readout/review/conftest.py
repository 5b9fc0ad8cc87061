"""The invented meter of `hall.py`, and where an archive may be made."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def hall() -> ModuleType:
    """The module `hall.py` beside this file."""
    spec = importlib.util.spec_from_file_location("review_test_hall", Path(__file__).with_name("hall.py"))
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
