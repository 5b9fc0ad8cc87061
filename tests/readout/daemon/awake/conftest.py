"""Programs of an operating system, played by scripts."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

Played = Callable[[str, str], Path]


@pytest.fixture
def played(tmp_path: Path) -> Played:
    """Write a program of this name and text (sh) where `environment` finds it; its file."""

    def write(name: str, text: str) -> Path:
        file = tmp_path / "bin" / name
        file.parent.mkdir(exist_ok=True)
        file.write_text(f"#!/bin/sh\n{text}")
        file.chmod(0o755)
        return file

    return write


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """Where only played programs are found."""
    (tmp_path / "bin").mkdir(exist_ok=True)
    return {"PATH": os.fspath(tmp_path / "bin")}
