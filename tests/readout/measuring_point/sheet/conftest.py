"""Points with a lot to tell, and how to print their sheets."""

import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from readout.measuring_point.figures.figures import figures_of
from readout.measuring_point.figures.place import find_place
from readout.measuring_point.figures.uncertain import trusted
from readout.measuring_point.sheet.page import sheet_html

DEMO = Path(__file__).parents[4] / "demo_data/bottling_hall"
#: Pixels a millimetre of the printed page.
FINE = 10


@dataclass(frozen=True)
class Printed:
    """A sheet as printed: pages, words of the text layer, the first page as pixels (rows, columns, RGB)."""

    pages: int
    text: str
    pixels: Any

    def dark(self) -> Any:
        return self.pixels.max(axis=2) < 128


Sheet = Callable[..., str]


@pytest.fixture
def sheet(tmp_path: Path) -> Sheet:
    """The HTML of the demonstration's point, with replacements in its file."""

    def make(*changes: tuple[str, str]) -> str:
        shutil.copytree(DEMO, tmp_path / "hall", dirs_exist_ok=True)
        file = tmp_path / "hall/bottling-hall-header.yaml"
        text = file.read_text(encoding="utf-8")
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new)
        file.write_text(text, encoding="utf-8")
        found = find_place(file)
        assert found.place is not None, found.faults
        figures = figures_of(found.place)
        return sheet_html(figures, trusted(figures), file.name)

    return make


@pytest.fixture
def printed(tmp_path: Path) -> Callable[[str], Printed]:
    """A page printed to PDF by Debian's chromium, read by its poppler-utils; see DEVELOPERS.md."""

    def run(*words: str) -> str:
        done = subprocess.run(words, cwd=tmp_path, capture_output=True, timeout=120, check=False)
        assert done.returncode == 0, done.stderr.decode(errors="replace")[-1000:]
        return done.stdout.decode()

    def make(html: str) -> Printed:
        (tmp_path / "sheet.html").write_text(html, encoding="utf-8")
        run(
            "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
            f"--user-data-dir={tmp_path}/profile", "--print-to-pdf=sheet.pdf", "sheet.html",
        )  # fmt: skip
        told = dict(line.split(":", 1) for line in run("pdfinfo", "sheet.pdf").splitlines() if ":" in line)
        assert "(A4)" in told["Page size"]
        run("pdftoppm", "-r", str(FINE * 25.4), "-f", "1", "-l", "1", "-singlefile", "sheet.pdf", "page")
        return Printed(
            int(told["Pages"]), run("pdftotext", "-layout", "sheet.pdf", "-"), ppm(tmp_path / "page.ppm")
        )

    return make


def ppm(file: Path) -> Any:
    """The pixels of a binary PPM file: P6, width and height, 255, three bytes a pixel."""
    kind, size, most, raw = file.read_bytes().split(b"\n", 3)
    assert (kind, most) == (b"P6", b"255")
    width, height = (int(word) for word in size.split())
    return np.frombuffer(raw, np.uint8).reshape(height, width, 3)
