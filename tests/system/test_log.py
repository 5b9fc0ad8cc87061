"""`log` for real: processes, pseudo-terminals, signals; every scheduled round is a row, none twice."""

import itertools
import json
import shutil
import signal
import sqlite3
import time
from collections.abc import Sequence
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow as pa
import pyarrow.dataset as ds
import pytest

SECOND = timedelta(seconds=1)


def rows_of(archive: Path, point: str) -> pa.Table:
    """The sealed rows of a point, as any program reads them, by sequence."""
    return ds.dataset(archive / f"rows/point={point}/source=live").to_table().sort_by("sequence")


def ledger_of(archive: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (archive / "ledger.jsonl").read_text().splitlines()]


def assert_every_round_is_there(rows: pa.Table, every: timedelta) -> None:
    """Sequences from 1 without a hole; due times on the grid, one after the other."""
    assert rows["sequence"].to_pylist() == list(range(1, rows.num_rows + 1))
    dues: Sequence[datetime] = rows["due"].to_pylist()
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    assert {(due - epoch) % every for due in dues} <= {timedelta(0)}
    assert {later - due for due, later in itertools.pairwise(dues)} <= {every}


@pytest.mark.parametrize("seconds", [5, pytest.param(60, marks=pytest.mark.long)])
def test_four_meters_on_two_lines(command: ModuleType, tmp_path: Path, seconds: int) -> None:
    """Three meters share a line, one has its own: 5 s (long: 60) at 1 s are exactly so many rows each, with
    all values."""
    names = ["header", "bottling", "packing", "compressor"]
    with ExitStack() as stack:
        shared = stack.enter_context(command.line(12, 13, 14))
        own = stack.enter_context(command.line(12))
        for unit, name in zip((12, 13, 14), names, strict=False):
            command.write_point(tmp_path, name, shared.port, unit=unit)
        command.write_point(tmp_path, names[3], own.port)
        points = [f"{name}.yaml" for name in names]
        words = ["log", *points, "--archive", "archive", "--every", "1s", "--for", f"{seconds}s"]
        began = time.monotonic()
        done = command.run(*words, cwd=tmp_path, timeout=300)
        took = time.monotonic() - began
    assert done.status == 0, done
    assert took > seconds - 1
    assert shared.stats.damaged == own.stats.damaged == 0
    dues = set()
    for name in names:
        rows = rows_of(tmp_path / "archive", name)
        assert rows.num_rows == seconds
        assert_every_round_is_there(rows, SECOND)
        assert set(rows["status"].to_pylist()) == {"ok"}
        assert rows["flow"].null_count == 0
        stamped = zip(rows["time"].to_pylist(), rows["due"].to_pylist(), strict=True)
        assert all(timedelta(0) <= time - due < SECOND for time, due in stamped)
        dues.add(tuple(rows["due"].to_pylist()))
    assert len(dues) == 1, "all lines begin with the same due time"
    assert command.run("archive", "verify", "archive", cwd=tmp_path).status == 0


def committed(archive: Path, aside: Path) -> list[tuple[int, int, bytes]]:
    """Sequence, due and registers of every row in the journal of a copy: looking changes nothing."""
    shutil.copytree(archive, aside)
    with sqlite3.connect(aside / "journal" / "journal.sqlite") as journal:
        found = journal.execute("SELECT sequence, due, words FROM row ORDER BY sequence").fetchall()
    journal.close()
    return found


def test_a_killed_log_loses_no_committed_row_and_doubles_none(command: ModuleType, tmp_path: Path) -> None:
    """The next log seals what the dead one had committed, goes on numbering, and says so in the ledger."""
    words = ["log", "header.yaml", "--archive", "archive", "--every", "100ms"]
    archive = tmp_path / "archive"
    kept: list[tuple[int, int, bytes]] = []
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        for life in range(2):
            with command.running(*words, cwd=tmp_path) as log:
                asked = line.stats.requests
                command.until(lambda asked=asked: line.stats.requests > asked + 40, what="20 rounds")
                log.process.kill()
                log.process.wait()
            kept += committed(archive, tmp_path / f"copy-{life}")
        done = command.run(*words, "--for", "500ms", cwd=tmp_path)
    assert done.status == 0, done
    assert "did not end by itself" in done.err
    assert len(kept) > 10, "the commit interval is 1 s, and each life had lasted 2 s"
    rows = rows_of(archive, "header")
    assert rows["sequence"].to_pylist() == list(range(1, rows.num_rows + 1))
    sealed = {row["sequence"]: row for row in rows.to_pylist()}
    for sequence, due, registers in kept:
        row = sealed[sequence]
        assert row["due"].timestamp() * 1000 == due
        held = [row[name] for name in rows.column_names if name.startswith("raw_")]
        # A round left out, because this computer was busy, has none.
        raw = b"".join((word or 0).to_bytes(2, "little") for word in held if any(held))
        assert raw == registers
    assert len({row["due"] for row in sealed.values()}) == len(sealed)
    told = [line.get("what", line["kind"]) for line in ledger_of(archive)]
    assert told == ["started", "killed before", "sealed", "started", "killed before", "sealed", "started",
                    "sealed", "stopped"]  # fmt: skip
    assert command.run("archive", "verify", "archive", cwd=tmp_path).status == 0


def test_a_port_that_is_absent_at_the_start_is_waited_for(command: ModuleType, tmp_path: Path) -> None:
    """Its rounds are rows with the status port lost; when it comes, the same log reads it."""
    command.write_point(tmp_path, "header", "./port")
    words = ["log", "header.yaml", "--archive", "archive", "--every", "200ms"]
    with command.running(*words, cwd=tmp_path) as log:
        command.until(lambda: "port lost" in log.so_far().err, what="the absence is told")
        with command.line() as line:
            (tmp_path / "port").symlink_to(line.port)
            command.until(lambda: line.stats.requests > 8, what="the port is read")
            assert log.end(signal.SIGINT).status == 0
    rows = rows_of(tmp_path / "archive", "header")
    assert_every_round_is_there(rows, timedelta(milliseconds=200))
    statuses = rows["status"].to_pylist()
    first = statuses.index("ok")
    assert first > 0
    assert statuses == ["port lost"] * first + ["ok"] * (len(statuses) - first)
    assert rows["time"].to_pylist()[:first] == [None] * first
    assert rows["flow"].null_count == rows["raw_input_0"].null_count == first
    # Who the meter is was asked when it could answer, so the file of its readings says it.
    told = [
        json.loads(ds.dataset(file).schema.metadata[b"pipeledger.meter"])["identity"].get("serial_number")
        for file in ds.dataset(tmp_path / "archive/rows/point=header").files
    ]
    assert "EX-0042" in told


def test_an_adapter_pulled_out_and_put_back(command: ModuleType, tmp_path: Path) -> None:
    """Rows say port lost meanwhile; within 3 s of its return the same process reads again."""
    command.write_point(tmp_path, "header", "./port")
    port = tmp_path / "port"
    words = ["log", "header.yaml", "--archive", "archive", "--every", "200ms"]
    with ExitStack() as stack:
        with command.line() as line:
            port.symlink_to(line.port)
            log = stack.enter_context(command.running(*words, cwd=tmp_path))
            command.until(lambda: line.stats.requests > 8, what="readings")
        port.unlink()
        command.until(lambda: "port lost" in log.so_far().err, what="the loss is told")
        time.sleep(1.5)  # some rounds without a port
        with command.line() as line:
            port.symlink_to(line.port)
            back = datetime.now(UTC)
            command.until(lambda: line.stats.requests > 4, what="readings again")
            assert log.process.poll() is None, "the same process goes on"
            assert log.end(signal.SIGTERM).status == 0
    rows = rows_of(tmp_path / "archive", "header")
    assert_every_round_is_there(rows, timedelta(milliseconds=200))
    statuses = rows["status"].to_pylist()
    lost = statuses.index("port lost")
    again = statuses.index("ok", lost)
    assert lost > 0
    assert again - lost >= 5
    assert rows["due"][again].as_py() - back < 3 * SECOND
    assert "ok" not in statuses[lost:again]
    assert set(statuses[again:]) == {"ok"}
    told = [line["what"] for line in ledger_of(tmp_path / "archive") if line["kind"] == "event"]
    assert told == ["port lost", "port back"]


def test_a_silent_meter_does_not_cost_the_others_their_rounds(command: ModuleType, tmp_path: Path) -> None:
    """Unit 13 is not on the line: its rounds are rows too. After three silences, of which the one before the
    first round counts, it is asked once a minute, and its rows say skipped."""
    with command.line(12) as line:
        command.write_point(tmp_path, "header", line.port, unit=12)
        command.write_point(tmp_path, "gone", line.port, unit=13)
        words = ["log", "gone.yaml", "header.yaml", "--archive", "archive", "--every", "1s", "--for", "5s"]
        assert command.run(*words, cwd=tmp_path).status == 0
    good, gone = (rows_of(tmp_path / "archive", name) for name in ("header", "gone"))
    assert_every_round_is_there(good, SECOND)
    assert_every_round_is_there(gone, SECOND)
    assert good["status"].to_pylist() == ["ok"] * 5
    assert gone["status"].to_pylist() == ["no reply"] * 2 + ["skipped"] * 3


def test_a_map_that_would_change_a_columns_type_is_refused(command: ModuleType, tmp_path: Path) -> None:
    """Exit status 2, with the column; nothing is written. A new column is welcome."""
    words = ["log", "header.yaml", "--archive", "archive", "--every", "100ms", "--for", "300ms"]
    archive = tmp_path / "archive"
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        assert command.run(*words, cwd=tmp_path).status == 0
        before = (archive / "ledger.jsonl").read_bytes()
        changed = command.MAP.replace("{input: 2, type: uint16, scale: 0.001,", "{input: 2, type: uint16,")
        (tmp_path / "map.yaml").write_text(changed)
        refused = command.run(*words, cwd=tmp_path)
        assert refused.status == 2, refused
        for said in ("map.yaml", "pressure", "header", "another archive"):
            assert said in refused.err
        assert (archive / "ledger.jsonl").read_bytes() == before
        added = command.MAP.replace("  state:", "  word: {input: 3, type: uint16}\n  state:")
        (tmp_path / "map.yaml").write_text(added)
        assert command.run(*words, cwd=tmp_path).status == 0
    assert command.run("archive", "verify", "archive", cwd=tmp_path).status == 0
