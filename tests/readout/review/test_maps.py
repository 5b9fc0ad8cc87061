"""Rows under one name that two maps decoded: told in data, text and page, in German too."""

import json
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.report.content.sections import sure
from readout.report.language.words import Language, Words
from readout.review.about.maps import mixed_maps
from readout.review.review import review
from storage.archive import Archive


def filled(hall: ModuleType, root: Path, *maps: str) -> Path:
    """A minute of seconds by each of the maps, one behind the other; pressure 7000 raw."""
    with Archive.open(root) as opened:
        for number, text in enumerate(maps):
            begin = f"2026-05-05T08:0{number}Z", f"2026-05-05T08:0{number + 1}Z"
            dues = hall.every(1000, *begin)
            hall.fill(opened, hall.record(map_text=text), dues, lambda _: (60.0, 7000, 1))
            hall.seal(opened, dues[-1] + 1000)
    return root


def test_two_scales_under_one_name_are_told_everywhere(hall: ModuleType, root: Path) -> None:
    filled(hall, root, hall.MAP, hall.MAP.replace("scale: 0.001", "scale: 0.01"))
    done = CliRunner().invoke(app, ["review", str(root), "--json"])
    caution = json.loads(done.stdout)["points"][0]["mixed_maps"]
    assert "differ in pressure (scale 0.001, then 0.01)" in caution
    assert f"CAUTION: {caution}" in CliRunner().invoke(app, ["review", str(root)]).stdout
    found = review(root, hall.POINT)
    assert found is not None
    german = str(sure(found, Words(Language.GERMAN)).items[0])
    assert "pressure (scale 0.001, danach 0.01)" in german


@pytest.mark.parametrize("change", [("header meter", "meter"), ("unit_address: 12", "unit_address: 13")])
def test_maps_that_decode_alike_are_no_matter(hall: ModuleType, root: Path, change: tuple[str, str]) -> None:
    filled(hall, root, hall.MAP, hall.MAP.replace(*change))
    found = review(root, hall.POINT)
    assert found is not None
    assert mixed_maps(found.measured.installations) is None
