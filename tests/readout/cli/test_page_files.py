"""A page is never written over the file that it is made of."""

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.errors import WrongUse

HALL = Path(__file__).parents[3] / "demo_data/bottling_hall"


@pytest.mark.parametrize(
    ("words", "name", "option"),
    [
        (("point", "show"), "bottling-hall-header.yaml", "--sheet"),
        (("map", "show"), "insertion-meter.yaml", "--html"),
    ],
)
def test_a_page_named_like_its_input_is_refused(
    tmp_path: Path, words: tuple[str, str], name: str, option: str
) -> None:
    hall = tmp_path / "hall"
    shutil.copytree(HALL, hall)
    done = CliRunner().invoke(app, [*words, str(hall / name), option, str(hall / name)])
    assert isinstance(done.exception, WrongUse)
    assert "name a file that ends with .html" in str(done.exception)
    assert (hall / name).read_bytes() == (HALL / name).read_bytes()
