"""`map draft` as an integrator types it; the manual's example is the real output."""

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from readout.cli.main import app
from readout.errors import WrongUse

DOCS = Path(__file__).parents[3] / "docs"


def drafted(*words: str) -> Result:
    return CliRunner().invoke(app, ["map", "draft", *words])


def test_the_manuals_example_shows_what_the_command_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("new-meter.csv").write_bytes((DOCS / "new-meter.csv").read_bytes())
    done = drafted("new-meter.csv", "--to", "map.yaml", "--meter", "Mere 7")
    assert done.exit_code == 0, done.output
    blocks = re.findall(
        r"```(?:console|yaml draft)\n(.*?)```", (DOCS / "new-meter.md").read_text(encoding="utf-8"), re.DOTALL
    )
    assert blocks[0].partition("\n")[2] == done.stdout
    assert blocks[1] == Path("map.yaml").read_text(encoding="utf-8")
    assert CliRunner().invoke(app, ["map", "check", "map.yaml"]).exit_code == 0


def test_questions_come_as_one_json_document(tmp_path: Path) -> None:
    done = drafted(str(DOCS / "new-meter.csv"), "--to", str(tmp_path / "map.yaml"), "--json")
    told = json.loads(done.stdout)
    assert (told["entries"], told["left_out"]) == (6, 0)
    assert [one["number"] for one in told["questions"]] == list(range(1, len(told["questions"]) + 1))
    assert [3] in [one["lines"] for one in told["questions"]]


def test_a_map_that_is_there_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "map.yaml").write_text("mine")
    done = drafted(str(DOCS / "new-meter.csv"), "--to", str(tmp_path / "map.yaml"))
    assert isinstance(done.exception, WrongUse)
    assert (tmp_path / "map.yaml").read_text() == "mine"


@pytest.mark.parametrize("column", ["address", "colour=Red", "address="])
def test_an_option_that_names_no_column_is_refused(tmp_path: Path, column: str) -> None:
    done = drafted(str(DOCS / "new-meter.csv"), "--to", str(tmp_path / "map.yaml"), "--column", column)
    assert isinstance(done.exception, WrongUse)
    assert not (tmp_path / "map.yaml").exists()


def test_a_table_without_a_usable_row_gives_its_questions_and_no_map(tmp_path: Path) -> None:
    (tmp_path / "table.csv").write_text("Address,Name\nTBD,Flow\n")
    done = drafted(str(tmp_path / "table.csv"), "--to", str(tmp_path / "map.yaml"))
    assert isinstance(done.exception, WrongUse)
    assert "'TBD' is no number" in str(done.exception)
    assert not (tmp_path / "map.yaml").exists()


def test_a_file_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    done = drafted(str(tmp_path / "none.csv"), "--to", str(tmp_path / "map.yaml"))
    assert isinstance(done.exception, WrongUse)
