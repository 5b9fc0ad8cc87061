"""The page as a reader has it, in Debian's Chromium: quiet, by itself, for everyone, whole on paper."""

import json
import re
import subprocess
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from readout.report import browser
from readout.report.content.evidence import SealedRows
from readout.report.language.words import Words
from readout.report.page import Extras, page
from readout.review.review import Review

#: Sizes in CSS pixels: a laptop, a phone, and A4 at 96 to the inch.
LAPTOP, PHONE, A4 = (1366, 768), (390, 844), (794, 1123)
#: Of the printed page [dots per inch], and how high a figure is on it: 0.72 of its height on a screen.
DENSITY, ON_PAPER = 100, 0.72


@pytest.fixture(scope="module")
def written(told: Callable[..., Review], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of three days, with a hostile note, in a file."""
    to = tmp_path_factory.mktemp("browser") / "audit.html"
    found = told("6.5 bar(g)")
    name = f"rows/point={found.installation.point}/source=live/date=2026-05-05/0000000001-0000008640.parquet"
    files = {(found.installation.point, found.installation.source): [SealedRows(name, 8640, "0f" * 32)]}
    made = page([found], Words(), "Audit of the header", extras=Extras(files=files))
    to.write_text(made, encoding="utf-8")
    return to


def test_the_page_is_quiet_by_itself_and_for_everyone(written: Path, chromium: Any) -> None:
    """No complaint, no request but for the file, nothing in axe-core's rules (WCAG) against it.

    At each size everything fits without scrolling sideways, and every chart is drawn. What is inside a chart
    is a picture with a name, and axe-core takes no part of it.
    """
    package = find_spec("axe_core_python")
    assert package is not None
    assert package.origin is not None
    axe = (Path(package.origin).parent / "axe.min.js").read_text("utf-8")
    tab = chromium.open(written.as_uri(), *LAPTOP)
    tab.until(
        lambda: tab.run(
            "document.readyState == 'complete' && [...document.querySelectorAll('[data-chart]')].every("
            "place => place.querySelector('svg.main-svg'))"
        ),
        "all charts",
    )
    assert tab.run("document.querySelectorAll('[data-chart]').length") >= 5
    for size in (LAPTOP, PHONE, A4):
        tab.size(*size, mobile=size == PHONE)
        tab.run(axe + "; null")
        # Colours are slow and the same at each size; what is right needs no list of every element.
        rules = {"rules": {"color-contrast": {"enabled": size == LAPTOP}}, "resultTypes": ["violations"]}
        ask = f"axe.run({{exclude: ['.main-svg']}}, {json.dumps(rules)})"
        found = json.loads(tab.run(f"{ask}.then(found => JSON.stringify(found.violations))"))
        assert [(one["id"], one["nodes"][0]["html"][:200]) for one in found] == []
        assert tab.run("document.documentElement.scrollWidth <= innerWidth"), size
    assert tab.run("document.title") == "Audit of the header"
    assert tab.complaints() == []
    asked = {url for url in tab.requests() if not url.startswith(("data:", "blob:"))}
    assert asked == {written.as_uri()}


def _printed(pdf: Path) -> list[NDArray[np.uint8]]:
    """Each page as dots [height, width, 3], by poppler."""
    prefix = pdf.with_suffix("")
    subprocess.run(["pdftoppm", "-r", str(DENSITY), pdf, prefix], check=True)
    pages = []
    for file in sorted(pdf.parent.glob(f"{prefix.name}-*.ppm")):
        head = re.match(rb"P6\s(\d+) (\d+)\s255\s", raw := file.read_bytes())
        assert head is not None
        dots = np.frombuffer(raw, np.uint8, offset=head.end())
        pages.append(dots.reshape(int(head[2]), int(head[1]), 3))
    return pages


def _titles(pdf: Path, titles: list[str]) -> dict[str, tuple[int, float]]:
    """On which page and how far down [inches] each title stands on paper."""
    told = subprocess.run(["pdftotext", "-bbox", pdf, "-"], check=True, capture_output=True, text=True).stdout
    found = {}
    for number, leaf in enumerate(told.split("<page ")[1:]):
        words = re.findall(r'yMin="([\d.]+)"[^>]*>([^<]*)</word>', leaf)
        for title in titles:
            wanted = title.split()
            for at in range(len(words) - len(wanted) + 1):
                if [word for _, word in words[at : at + len(wanted)]] == wanted:
                    found[title] = number, float(words[at][0]) / 72
    return found


def test_paper_has_every_figure_and_none_is_empty(written: Path, tmp_path: Path) -> None:
    """Below each title, on the same sheet, is ink in the colours of the data; folded tables are open."""
    text = written.read_text("utf-8")
    figures = dict(re.findall(r'<figure><h4>(.*?)</h4>.*?style="--height: (\d+)px"', text))
    titles = list(figures)
    assert len(titles) >= 5
    pdf = tmp_path / "audit.pdf"
    browser.print_pdf(written, pdf)
    sheets, places = _printed(pdf), _titles(pdf, titles)
    assert set(places) == set(titles)
    told = subprocess.run(["pdftotext", pdf, "-"], check=True, capture_output=True, text=True).stdout
    assert "90.0 (1)" in told  # an hour of the week, as text only in the folded table
    for title, (number, inches) in places.items():
        top = round(inches * DENSITY)
        bottom = top + round(int(figures[title]) * ON_PAPER / 96 * DENSITY)
        assert bottom <= len(sheets[number]), f"{title} is cut off at the end of sheet {number + 1}"
        red, _, blue = np.moveaxis(sheets[number][top:bottom].astype(int), 2, 0)
        assert np.count_nonzero(abs(blue - red) > 25) > 5, f"{title} is empty on sheet {number + 1}"


def test_figures_are_saved_as_pictures_with_something_in_them(written: Path, tmp_path: Path) -> None:
    names = browser.save_figures(written.read_text("utf-8"), tmp_path / "figures")
    stems = {name.rpartition(".")[0] for name in names}
    charts = re.findall(r'data-chart="(\d+)" data-name="([\w-]+)"', written.read_text("utf-8"))
    assert stems == {f"{number}-{name}" for number, name in charts}
    for name in names:
        content = (tmp_path / "figures" / name).read_bytes()
        assert content.startswith(b"\x89PNG" if name.endswith(".png") else b"<svg")
        assert len(content) > 5000
