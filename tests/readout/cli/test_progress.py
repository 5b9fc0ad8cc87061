"""What is told while long work is done: nothing of the quick, a line now and then, a bar on a terminal."""

import io
import sys

import pytest

from readout.cli import progress
from readout.cli.progress import steadily


class Hands:
    """A clock that stands where it was put [s]."""

    now = 100.0

    def monotonic(self) -> float:
        return self.now


@pytest.fixture
def hands(monkeypatch: pytest.MonkeyPatch) -> Hands:
    clock = Hands()
    monkeypatch.setattr(progress, "time", clock)
    return clock


def test_quick_work_says_nothing(hands: Hands, capsys: pytest.CaptureFixture[str]) -> None:
    with steadily("header (live)") as show:
        for step in range(20):
            hands.now += 0.09
            show(step / 20, "minutes")
    assert capsys.readouterr().err == ""


def test_long_work_tells_a_line_every_five_seconds(hands: Hands, capsys: pytest.CaptureFixture[str]) -> None:
    """A minute of work that speaks up ten times a second: twelve lines in a file or a pipe, on stderr."""
    with steadily("header (live)") as show:
        for step in range(600):
            hands.now += 0.1
            show(step / 600, "minutes, 30 of 365 files")
    told = capsys.readouterr()
    lines = told.err.splitlines()
    assert 11 <= len(lines) <= 13
    assert lines[0] == "header (live): 3%, minutes, 30 of 365 files"
    assert told.out == ""


def test_a_terminal_gets_a_bar_that_is_gone_at_the_end(hands: Hands, monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    with steadily("header (live)") as show:
        hands.now += 3.0
        show(0.5, "distribution of flow")
    assert "header (live), distribution of flow" in screen.getvalue()
