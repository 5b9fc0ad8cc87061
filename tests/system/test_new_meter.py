"""The manual's worked example from a faulty table to a trusted map, over a pseudo-terminal.

What the meter truly is, and every value it must end with, is written by hand in `tests/golden/new_meter`.
"""

import csv
import re
import shlex
import struct
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner

from protocols.register_map.parse import parse_map
from readout.cli.main import app
from simulators.device import SimulatedMeter
from simulators.line import PtyEnd, SimulatedLine
from simulators.plant import read_values, usual_values

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/new-meter-worked.md").read_text(encoding="utf-8")
TRUTH = ROOT / "tests/golden/new_meter"
#: What the simulated meter says besides the table: docs/simulated-meters.md, unit address 12.
BESIDE = {
    "inside_diameter": "53.1", "damping": "2", "low_flow_cut_off": "0.4", "calibration_factor": "1",
    "display_language": "English", "serial_number": "EX-0042", "firmware": "1.4",
}  # fmt: skip
DONE = "right.yaml: 40 values, 0 left out as comments, 0 questions"
DRAFT = 'map draft new-meter-station.csv --meter "Mere 60"'
#: Draft with a row left out, and tries that show a value other than the display: exit status 1.
STATUS = {"draft.yaml": 1, "map.yaml meter-port": 1}


def examples() -> list[tuple[str, list[str]]]:
    """Every command of the page with the lines shown below it."""
    blocks = re.findall(r"^```console\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    found = [
        one for block in blocks for one in re.split(r"^\$ pipeledger ", block, flags=re.MULTILINE) if one
    ]
    return [(one.partition("\n")[0], one.partition("\n")[2].splitlines()) for one in found]


def held(shown: list[str], said: list[str]) -> None:
    """Lines as shown, in their order; `…` alone stands for any number of lines, within one for any words."""
    at, loose = 0, False
    for line in shown:
        if line == "…":
            loose = True
            continue
        pattern = re.compile(".*".join(re.escape(" ".join(part.split())) for part in line.split("…")))
        place = next(
            (n for n, one in enumerate(said[at:], at) if pattern.fullmatch(" ".join(one.split()))), None
        )
        assert place is not None, line
        assert loose or place == at, (line, said[at:place])
        at, loose = place + 1, False
    assert loose or at == len(said), said[at:]


def values_of(said: str) -> dict[str, str]:
    """What `map try` shows of each value as mapped: the number, the word of a code, a text."""
    found = {}
    for name, value in re.findall(
        r"^([a-z]\w*)(?:, the display .*)?\n  as mapped +(\S+(?: \(\w+\))?)", said, re.M
    ):
        word = re.search(r"\((.*)\)", value)
        found[name] = word[1] if word else value.strip('"')
    return found


def floats_of(said: str) -> list[tuple[str, str]]:
    """The words of each float, by name, in the order in which they came."""
    found = re.findall(
        r"^(\w+)(?:, .*)?\n  as mapped .*?  ([0-9A-F]{4} [0-9A-F]{4})  float32:CDAB:", said, re.M
    )
    assert len(found) == 10
    return found


def as_sent(number: str) -> str:
    """A number as IEEE 754 has it in single precision, by the standard library, its low word first."""
    text = struct.pack(">f", float(number)).hex().upper()
    return f"{text[4:]} {text[:4]}"


def truth() -> dict[str, str]:
    names, row = csv.reader((TRUTH / "values.csv").read_text(encoding="utf-8").splitlines())
    return {**dict(zip(names, row, strict=True)), **BESIDE}


def same(found: str, true: str) -> bool:
    """Numbers as numbers; a contact's false and true as 0 and 1."""
    found = {"false": "0", "true": "1"}.get(found, found)
    try:
        return float(found) == float(true)
    except ValueError:
        return found == true


Run = Callable[[list[str]], tuple[int, str, str]]


def walk(run: Run, folder: Path, commands: list[tuple[str, list[str]]]) -> None:
    """Commands of the page, each with what it shows; ends with the 40 values held to the truth."""
    (answers,) = re.findall(r"^```text\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    (folder / "answers.txt").write_text(answers, encoding="utf-8")
    last = ""
    for line, shown in commands:
        status, out, err = run(shlex.split(line))
        assert status == next((n for word, n in STATUS.items() if word in line), 0), (line, out, err)
        held(shown, [*out.splitlines(), *(one for one in err.splitlines() if one in shown)])
        last = out if " right.yaml meter-port" in line else last
    (row,) = re.findall(r"^```yaml shown\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    assert row in (folder / "map.yaml").read_text(encoding="utf-8")
    found, true = values_of(last), truth()
    assert found.keys() == true.keys()
    assert len(true) == 40
    assert {name: (found[name], true[name]) for name in true if not same(found[name], true[name])} == {}
    assert {
        name: (words, true[name]) for name, words in floats_of(last) if words != as_sent(true[name])
    } == {}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the files that the page asks for, entered."""
    for file in (ROOT / "docs/new-meter-station.csv", TRUTH / "true.yaml", TRUTH / "values.csv"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_worked_example_of_the_manual_ends_with_every_value_true(folder: Path) -> None:
    """Within this process, the meter on a pseudo-terminal: four seconds, most of them in `map try`.

    Only the last `map try`: the type that an earlier one finds is answered instead, as the page allows.
    """
    true = parse_map((folder / "true.yaml").read_bytes(), "true.yaml").map
    assert true is not None
    source = read_values((folder / "values.csv").read_bytes(), "values.csv", true, usual_values(true.fluid))
    answered = f"{DRAFT} --to right.yaml --answers answers.txt --answer 13:type=uint16"
    commands = [one for one in examples() if "simulate " not in one[0] and " try " not in one[0]]
    (final,) = [one for one in examples() if " right.yaml meter-port" in one[0]]
    commands[-1:] = [
        (answered, ["right.yaml: 40 values, 0 left out as comments, 0 questions"]),
        final,
        commands[-1],
    ]

    def run(words: list[str]) -> tuple[int, str, str]:
        done = CliRunner().invoke(app, words)
        assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
        return done.exit_code, done.stdout, done.stderr

    with SimulatedLine([SimulatedMeter(true, source=source)], end=PtyEnd(folder / "meter-port")):
        walk(run, folder, commands)


@pytest.mark.long
def test_the_worked_example_runs_as_it_stands_in_processes_of_its_own(
    command: ModuleType, folder: Path
) -> None:
    ((play, _),) = [one for one in examples() if one[0].startswith("simulate ")]

    def run(words: list[str]) -> tuple[int, str, str]:
        done = command.run(*words, cwd=folder)
        return done.status, done.out, done.err

    with command.running(*shlex.split(play), cwd=folder) as meter:
        command.until(lambda: meter.so_far().out, what="the simulated meter")
        walk(run, folder, [one for one in examples() if one[0] != play])


@pytest.mark.parametrize(
    ("shown", "holds"),
    [(["a", "…", "c"], True), (["a", "c"], False), (["…", "d"], False), (["…", "c…d"], False)],
)
def test_a_line_that_is_not_shown_as_it_is_fails_the_page(shown: list[str], holds: bool) -> None:
    if holds:
        held(shown, ["a", "b", "c"])
    else:
        with pytest.raises(AssertionError):
            held(shown, ["a", "b", "c"])
