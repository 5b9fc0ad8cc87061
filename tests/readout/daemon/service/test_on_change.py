"""`--on-change`: which changes run the command, and what it is told."""

from collections import Counter
from pathlib import Path
from types import ModuleType

import pytest

from readout.clock import SystemClock
from readout.daemon.service.on_change import OnChange, words_of
from readout.errors import WrongUse
from simulators.clock import FakeClock

#: Writes what it is told, one line a change.
SCRIPT = """\
#!/bin/sh
echo "$PIPELEDGER_POINT $PIPELEDGER_CHANGE $PIPELEDGER_STATUS" >> "$PIPELEDGER_ARCHIVE/told"
"""


@pytest.fixture
def script(tmp_path: Path) -> Path:
    file = tmp_path / "tell me.sh"
    file.write_text(SCRIPT)
    file.chmod(0o755)
    return file


def test_silence_and_return_are_told_once_each(script: Path, tmp_path: Path, command: ModuleType) -> None:
    """Three rounds without a reading are silence; one reading is the return; one missing round is neither."""
    said = list[str]()
    changes = OnChange(f"'{script}'", tmp_path, SystemClock(), said.append)
    rows = {"header": Counter[str](), "packing": Counter[str]()}
    history = [
        "ok",
        "no reply",
        "ok",
        "no reply",
        "no reply",
        "no reply",
        "skipped",
        "skipped",
        "partial",
        "ok",
    ]
    for status in history:
        rows["header"][status] += 1
        rows["packing"]["ok"] += 1
        changes.look(rows)
    told = tmp_path / "told"

    def both() -> bool:
        changes.look(rows)
        return told.exists() and told.read_text().count("\n") == 2

    command.until(both, what="two commands")
    changes.close()
    assert told.read_text().splitlines() == ["header silent no reply", "header back partial"]
    assert said == []


def test_a_point_that_comes_and_goes_is_told_of_ten_times_an_hour(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three rounds silent, one answered; at last it stays away, and that is told when the hour is over."""
    told, clock = list[str](), FakeClock()
    changes = OnChange("true", tmp_path, clock, told.append)
    monkeypatch.setattr(changes, "_start", lambda facts: told.append(facts["PIPELEDGER_CHANGE"]))
    rows = {"header": Counter[str]()}
    for n in range(3700):
        rows["header"]["ok" if n % 4 == 3 and n < 3590 else "no reply"] += 1
        changes.look(rows)
        clock.advance(1.0)
        if n == 3590:
            assert told == ["silent", "back"] * 5
    assert told == ["silent", "back"] * 5 + ["silent"]


@pytest.mark.parametrize(
    ("words", "sentence"), [("/absent/program", "cannot be run"), ("false", "ended with status 1")]
)
def test_a_command_that_fails_is_named_and_recording_goes_on(
    words: str, sentence: str, tmp_path: Path, command: ModuleType
) -> None:
    """Absent, or ending with another status than 0: a sentence, no more."""
    said = list[str]()
    changes = OnChange(words, tmp_path, SystemClock(), said.append)
    rows = {"header": Counter({"port lost": 3})}

    def complained() -> bool:
        changes.look(rows)
        return bool(said)

    command.until(complained, what=sentence)
    changes.close()
    assert sentence in said[0]


@pytest.mark.parametrize(
    ("program", "mode", "reason"), [("absent.sh", None, "no such"), ("plain.sh", 0o644, "chmod")]
)
def test_what_cannot_be_run_is_told_when_recording_begins(
    program: str, mode: int | None, reason: str, tmp_path: Path
) -> None:
    """Not months later, when there is something to tell."""
    file, said = tmp_path / program, list[str]()
    if mode is not None:
        file.write_text("#!/bin/sh\n")
        file.chmod(mode)
    OnChange(f"'{file}' now", tmp_path, FakeClock(), said.append)
    assert reason in said[0]
    file.write_text("#!/bin/sh\n")
    file.chmod(0o755)
    OnChange(f"'{file}' now", tmp_path, FakeClock(), said.append)
    assert len(said) == 1


@pytest.mark.parametrize("words", ["", "'open"])
def test_no_command_is_refused_before_anything_is_recorded(words: str) -> None:
    with pytest.raises(WrongUse, match="--on-change"):
        words_of(words)


def test_a_real_log_runs_it(script: Path, tmp_path: Path, command: ModuleType) -> None:
    """A point without its port is silent; the archive is named as it was given."""
    command.write_point(tmp_path, "header", str(tmp_path / "absent"))
    words = ("--archive", "archive", "--every", "200ms", "--for", "4s", "--on-change", f"'{script}'")
    done = command.run("log", "header.yaml", *words, cwd=tmp_path)
    assert done.status == 0, done
    assert (tmp_path / "archive" / "told").read_text() == "header silent port lost\n"
