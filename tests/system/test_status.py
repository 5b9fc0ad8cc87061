"""`status` beside a recorder, after it, and where a meter is silent: for people and for monitors."""

from pathlib import Path
from types import ModuleType

WORDS = ("--archive", "archive", "--every", "200ms")


def test_a_running_recorder_is_well(command: ModuleType, tmp_path: Path) -> None:
    """Exit status 0, the recorder's process number, a young last row, everything covered."""
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        with command.running("log", "header.yaml", *WORDS, cwd=tmp_path) as log:
            command.until(lambda: line.stats.requests > 60, what="20 rounds")
            done = command.run("status", "archive", "--json", "--least", "50", cwd=tmp_path)
            told = done.json()
            shown = command.run("status", "archive", "--least", "50", cwd=tmp_path)
            pid = log.pid
    assert done.status == 0, done
    assert told["recorder"] == {"running": True, "pid": pid}
    point = told["points"]["header"]
    assert point["status"] == "ok"
    assert 0 <= point["age_s"] < 20
    assert point["interval_s"] == 0.2
    assert point["coverage"]["start"] == point["coverage"]["hour"] == point["coverage"]["day"] > 0.5
    assert point["worst_reply_ms"] > 0
    assert told["journal"]["waiting"] >= 10
    assert told["short"] == []
    assert f"recorder: running, process {pid}" in shown.out


def test_a_recorder_that_ended_falls_short(command: ModuleType, tmp_path: Path) -> None:
    """Exit status 1 and the reason, with the rows that the ended recorder kept."""
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        command.run("log", "header.yaml", *WORDS, "--for", "2s", cwd=tmp_path)
    done = command.run("status", "archive", "--json", cwd=tmp_path)
    told = done.json()
    assert done.status == 1
    assert told["recorder"] == {"running": False, "pid": None}
    assert "no recorder is running" in done.err
    assert told["points"]["header"]["last"].endswith("Z")
    assert told["journal"]["waiting"] == 0


def test_a_silent_meter_among_two_is_named_with_its_cause(command: ModuleType, tmp_path: Path) -> None:
    """Nobody answers at unit 13: its rounds count as missing, and the other meter is not blamed."""
    with command.line(12) as line:
        command.write_point(tmp_path, "header", line.port)
        command.write_point(tmp_path, "packing", line.port, unit=13)
        words = ("log", "header.yaml", "packing.yaml", *WORDS[:3], "1s")
        with command.running(*words, cwd=tmp_path):
            # Four rounds of the meter that answers, two requests each, and what the silent one is asked.
            command.until(lambda: line.stats.requests > 16, what="rounds of both")
            done = command.run("status", "archive", "--json", "--least", "50", cwd=tmp_path)
    told = done.json()
    assert done.status == 1, done
    packing = told["points"]["packing"]
    assert packing["coverage"]["start"] == 0
    assert packing["missing"]["no reply"] >= 1
    assert set(packing["missing"]) <= {"no reply", "skipped"}
    assert "packing: 0.0% of the last hour is covered" in done.err
    assert "header: " not in done.err


def test_a_folder_without_an_archive_is_refused(command: ModuleType, tmp_path: Path) -> None:
    """Exit status 3, and the folder by name."""
    done = command.run("status", ".", cwd=tmp_path)
    assert done.status == 3
    assert "holds no archive" in done.err
