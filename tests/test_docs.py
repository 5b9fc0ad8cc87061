"""The documents are tested: commands have help with an example, README examples run, links lead somewhere."""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from protocols.register_map.parse import parse_map
from readout.cli.main import app
from simulators.device import SimulatedMeter
from simulators.line import PtyEnd, SimulatedLine

ROOT = Path(__file__).parents[1]
DOCUMENTS = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md"), *ROOT.glob("bench/*.md")])
MANUAL = [ROOT / "README.md", *ROOT.glob("docs/**/*.md")]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEMO = ROOT / "demo_data/bottling_hall"


def commands(group: Any = None, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every command with the words that call it."""
    group = group or typer.main.get_command(app)
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, (*path, name))
        else:
            yield (*path, name), command


COMMANDS = dict(commands())


def options_of(command: Any) -> set[str]:
    return {name for parameter in command.params for name in (*parameter.opts, *parameter.secondary_opts)}


def called(words: list[str]) -> tuple[str, ...]:
    """The command that a line of words after `pipeledger` calls."""
    found = [path for path in COMMANDS if tuple(words[: len(path)]) == path]
    assert found, f"no command: {' '.join(words)}"
    return found[0]


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_every_command_has_help_with_an_example_of_itself(path: tuple[str, ...]) -> None:
    shown = CliRunner().invoke(app, [*path, "--help"])
    assert shown.exit_code == 0
    _, found, example = " ".join(shown.output.split()).partition("Example: pipeledger ")
    assert found, shown.output
    assert example.split()[: len(path)] == list(path)
    assert f"Example: pipeledger {example}" == COMMANDS[path].epilog, "something follows the example"
    assert {word for word in example.split() if word.startswith("--")} <= options_of(COMMANDS[path])


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_every_command_is_in_the_manual(path: tuple[str, ...]) -> None:
    """As a command: "log" and "find" are words of plain prose too, which tell nobody of a command."""
    name = re.compile(rf"(?:\bpipeledger |`){' '.join(path)}\b")
    assert any(name.search(document.read_text(encoding="utf-8")) for document in MANUAL)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda file: str(file.relative_to(ROOT)))
def test_every_link_leads_somewhere(document: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", document.read_text(encoding="utf-8")):
        assert (document.parent / target).exists(), target


def command_lines(text: str) -> list[str]:
    """What follows `pipeledger` in code: lines of blocks, with or without `$` and folder; or in backticks."""
    blocks = re.findall(r"^```[a-z]*\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    prose = re.sub(r"^```[a-z]*\n.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    lines = [
        line for block in blocks for line in re.findall(r"^(?:\$ )?(?:\S*/)?pipeledger (.+)$", block, re.M)
    ]
    return lines + re.findall(r"`pipeledger ([^`]+)`", prose)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda file: str(file.relative_to(ROOT)))
def test_every_command_line_in_a_document_is_one(document: Path) -> None:
    """Its command is there, and so is each of its options."""
    for line in command_lines(document.read_text(encoding="utf-8")):
        words = shlex.split(line)
        given = {word.partition("=")[0] for word in words if word.startswith("--")}
        assert given <= options_of(COMMANDS[called(words)]) | {"--help"}, line


def test_the_documents_have_command_lines_to_check() -> None:
    assert len(command_lines(README)) >= 8


def test_the_readme_shows_the_reads_of_a_map_as_they_are(command: ModuleType) -> None:
    """Request bytes, wire times and the shortest interval, to the last digit."""
    (block,) = re.findall(r"^```\n(read  .*?)^```", README, re.MULTILINE | re.DOTALL)
    assert command.run("map", "show", "insertion-meter.yaml", cwd=DEMO).out.endswith(block)


def masked(line: str) -> str:
    """A line of output without what differs each time: digits, hashes, signs of numbers, runs of blanks."""
    return " ".join(re.sub(r"\b[0-9a-f]{12,}\b|[-+]?\d[\d.:]*", "#", line).split())


def test_the_readmes_examples_run_and_show_what_they_show(command: ModuleType, tmp_path: Path) -> None:
    """In a folder with the demonstration's files and its meter on a line; each number may differ, no word."""
    for file in DEMO.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    parsed = parse_map((DEMO / "insertion-meter.yaml").read_bytes(), "insertion-meter.yaml")
    assert parsed.map is not None
    blocks = re.findall(r"^```console\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert blocks, "the README shows no example that could be run"
    with SimulatedLine([SimulatedMeter(parsed.map)], end=PtyEnd(tmp_path / "meter-port")):
        for block in blocks:
            before, *examples = re.split(r"^\$ pipeledger ", block, flags=re.MULTILINE)
            assert examples, block
            assert not before, "a block begins with its command"
            for example in examples:
                line, _, shown = example.partition("\n")
                done = command.run(*shlex.split(line), cwd=tmp_path)
                assert done.status == 0, done
                said = [masked(one) for one in (done.out + done.err).splitlines()]
                assert said == [masked(one) for one in shown.splitlines()]
