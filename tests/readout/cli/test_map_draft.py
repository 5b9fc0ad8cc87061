"""`map draft` as an integrator types it; the manual's example is the real output."""

import json
import re
from pathlib import Path

import jsonschema
import pytest
from ruamel.yaml import YAML
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


def test_answers_come_from_a_file_with_remarks_and_from_options(tmp_path: Path) -> None:
    (tmp_path / "answers.txt").write_text(
        "# by the display\nword_order=low first\n4:type=int16  # below 0\n\n"
        "fluid=compressed air\nunit_address=12\n"
    )
    done = drafted(
        *(str(DOCS / "new-meter.csv"), "--to", str(tmp_path / "map.yaml"), "--json"),
        *(
            "--answers",
            str(tmp_path / "answers.txt"),
            "--answer",
            "3:length=2",
            "--answer",
            "3:totaliser=true",
        ),
        *("--answer", "6:address=30007"),
    )
    assert (done.exit_code, json.loads(done.stdout)["questions"]) == (0, [])
    text = (tmp_path / "map.yaml").read_text(encoding="utf-8")
    assert "temperature: {input: 30005, type: int16, " in text
    assert "  word_order: low first\n" in text


@pytest.mark.parametrize(
    ("answer", "told"),
    [("4:type=odd", "type is not understood"), ("99:unit=s", "line 99"), ("numbering=1", "from 0, from 1")],
)
def test_an_answer_that_means_nothing_writes_no_map(tmp_path: Path, answer: str, told: str) -> None:
    done = drafted(str(DOCS / "new-meter.csv"), "--to", str(tmp_path / "map.yaml"), "--answer", answer)
    assert isinstance(done.exception, WrongUse)
    assert told in str(done.exception)
    assert list(tmp_path.iterdir()) == []


def test_a_file_of_answers_that_is_no_text_is_told_to_be_none(tmp_path: Path) -> None:
    (tmp_path / "answers.txt").write_bytes(b"4:unit=\xb0C")
    done = drafted(
        *(str(DOCS / "new-meter.csv"), "--to", str(tmp_path / "map.yaml")),
        *("--answers", str(tmp_path / "answers.txt")),
    )
    assert isinstance(done.exception, WrongUse)
    assert "UTF-8" in str(done.exception)


def test_the_schema_that_the_first_line_names_lies_beside_the_map_and_takes_it(tmp_path: Path) -> None:
    """Held against an independent validator."""
    assert drafted(str(DOCS / "new-meter.csv"), "--to", str(tmp_path / "map.yaml")).exit_code == 0
    text = (tmp_path / "map.yaml").read_text(encoding="utf-8")
    named = text.splitlines()[0].partition("$schema=")[2]
    schema = json.loads((tmp_path / named).read_text(encoding="utf-8"))
    assert schema == json.loads((DOCS / "schema/register-map.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(YAML(typ="safe", pure=True).load(text), schema)


def test_a_schema_that_is_there_stays_and_one_that_is_named_is_not_written(tmp_path: Path) -> None:
    (tmp_path / "register-map.schema.json").write_text("mine")
    drafted(str(DOCS / "new-meter.csv"), "--to", str(tmp_path / "map.yaml"))
    assert (tmp_path / "register-map.schema.json").read_text() == "mine"
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    drafted(str(DOCS / "new-meter.csv"), "--to", str(elsewhere / "map.yaml"), "--schema", "../s.json")
    assert [file.name for file in elsewhere.iterdir()] == ["map.yaml"]
    first = (elsewhere / "map.yaml").read_text(encoding="utf-8").splitlines()[0]
    assert first == "# yaml-language-server: $schema=../s.json"
