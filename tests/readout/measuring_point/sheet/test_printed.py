"""The sheet as it comes out of a printer: one A4 page, whole, to scale, in black and white."""

import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest

FINE = 10  # pixels a millimetre, as in conftest.py
#: A point with much to tell: long names, another nominal size, runs too short, nothing that fits.
MUCH = (
    ("role: header flow", "role: compressor power\ncustomer: " + "A very long name of a customer " * 3),
    ("outside_diameter: 60.3 mm\n  wall_thickness: 3.6 mm", "standard: ASME B36.10M Sch 40 DN 65"),
    ("position: centre,", "position: mean velocity, calibrated_for: centre, stem_length: 100 mm,"),
    ("{length: 1.8 m, after: single elbow}", "{length: 0.4 m, after: two elbows out of plane}"),
    ("{length: 0.6 m}", "{length: 0.1 m, asked_by_manual: 12}"),
    ("name: bottling-hall-header", "name: " + "a-name-of-forty-letters-in-all-abcdefghi"),
)
LARGE = (
    ("outside_diameter: 60.3 mm\n  wall_thickness: 3.6 mm", "standard: ASME B36.10M Sch 40 DN 300"),
    ("{length: 1.8 m, after: single elbow}", "{length: 18 m, after: single elbow}"),
    ("expected_flow: 40 m3/h to 420 m3/h", "fluid: oxygen, expected_flow: 40 m3/h to 420 m3/h"),
    ("sensor_to_tip: 8 mm", "sensor_to_tip: 8 mm, far_wall: may be touched"),
)
LITTLE = (
    ("  outlet_run: {length: 0.6 m}\n", ""),
    ("  inlet_run: {length: 1.8 m, after: single elbow}\n", ""),
    (", fitting_height: 142 mm", ""),
    ("conditions: {pressure: 7 bar(g), temperature: 25 degC, expected_flow: 40 m3/h to 420 m3/h}\n", ""),
)


def words_of(html: str) -> set[str]:
    """Every word that the page shows."""
    body = re.sub(r"<style>.*?</style>|<title>.*?</title>", "", html, flags=re.DOTALL)
    return set(unescape(re.sub(r"<[^>]+>", " ", body)).split())


@pytest.mark.parametrize("changes", [(), MUCH, LARGE, LITTLE], ids=["example", "much", "large", "little"])
def test_a_sheet_is_one_whole_page_in_black_and_white(
    sheet: Callable[..., str], printed: Callable[[str], Any], changes: tuple[tuple[str, str], ...]
) -> None:
    """Nothing within 5 mm of the paper's edge, every word there, no colour."""
    html = sheet(*changes)
    found = printed(html)
    assert found.pages == 1
    lost = {word for word in words_of(html) if word.upper() not in found.text.upper().replace("\n", " ")}
    assert {word for word in lost if "-" not in word} == set()  # a long name may be broken at its hyphens
    edge = 5 * FINE
    dark = found.dark()
    assert not dark[:edge].any()
    assert not dark[-edge:].any()
    assert not dark[:, :edge].any()
    assert not dark[:, -edge:].any()
    assert dark[:, edge:-edge].any()
    spread = found.pixels.max(axis=2).astype(int) - found.pixels.min(axis=2)
    assert spread.max() == 0


@pytest.mark.parametrize("changes", [(), MUCH, LARGE, LITTLE], ids=["example", "much", "large", "little"])
def test_no_drawing_is_wider_than_its_room(
    sheet: Callable[..., str], changes: tuple[tuple[str, str], ...]
) -> None:
    """A wider one would let the printer shrink the page, and with it the scale."""
    html = sheet(*changes)
    widths = [float(width) for width in re.findall(r'<svg [^>]*? width="([0-9.]+)mm"', html)]
    assert len(widths) == 2 - (changes is LITTLE)
    assert all(width <= room for width, room in zip(widths, (80, 190), strict=False))


def longest_upright_mm(dark: Any, left_mm: int, right_mm: int, top_mm: int) -> float:
    """The length of the leftmost upright line of 30 mm or more [mm]."""
    for column in range(left_mm * FINE, right_mm * FINE):
        run = best = 0
        for pixel in dark[top_mm * FINE : 130 * FINE, column]:
            run = run + 1 if pixel else 0
            best = max(best, run)
        if best >= 30 * FINE:
            return best / FINE
    raise AssertionError("no upright line")


def test_the_mark_is_to_scale_on_paper(sheet: Callable[..., str], printed: Callable[[str], Any]) -> None:
    """E, from tip to mark, is 180.15 mm; the leftmost line of the sketch, drawn 1 to 2.5."""
    html = sheet()
    assert "1 : 2.5" in html
    drawn = longest_upright_mm(printed(html).dark(), 10, 50, 24)
    assert drawn * 2.5 == pytest.approx(180.15, abs=1)


def test_what_people_write_stays_text(sheet: Callable[..., str]) -> None:
    html = sheet(("role: header flow", "customer: '<script>alert(1)</script> & Sons'"))
    assert "<script>" not in html
    assert "&lt;script&gt;" in html


def test_the_page_needs_nothing_else(sheet: Callable[..., str]) -> None:
    """No script, no address, nothing to load."""
    html = sheet()
    assert re.findall(r"(?:src|href)=|https?://(?!www\.w3\.org/2000/svg)|@import|url\((?!#)", html) == []


def test_every_caution_and_blank_is_on_it(sheet: Callable[..., str]) -> None:
    html = unescape(sheet())
    for wanted in (
        "arithmetic, not permission", "never in line with it", "Before drilling", "No hand can hold it",
        "serial number", "photo", "signature",
    ):  # fmt: skip
        assert wanted in html, wanted


def test_the_template_is_in_the_package() -> None:
    import readout.measuring_point.sheet as room

    assert room.__file__ is not None
    assert (Path(room.__file__).parent / "sheet.html").is_file()
