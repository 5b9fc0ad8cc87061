"""Delimited text as strangers read it: pandas, Python's csv module, and by eye."""

import csv
import io
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.errors import WrongUse
from storage.archive import Archive


def exported(root: Path, name: str, *words: str) -> Path:
    file = root.parent / name
    done = CliRunner().invoke(app, ["export", str(root), "--to", str(file), *words])
    assert done.exit_code == 0, (done.output, done.exception)
    return file


def short_log(hall: ModuleType, root: Path, begin: str, rows: list, step: int = 1000) -> None:
    """Rows of (flow, pressure, total) from a moment on; the last ones stay in the journal."""
    dues = [hall.ms(begin) + n * step for n in range(len(rows))]
    told = dict(zip(dues, rows, strict=True))
    half = len(rows) // 2
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(step), dues[:half], told.__getitem__)
        hall.seal(archive, dues[-1] + 1000)
        hall.fill(archive, hall.record(step), dues[half:], told.__getitem__)


def test_every_row_is_there_with_units_and_both_times(hall: ModuleType, root: Path) -> None:
    """A 32-bit 0.1 is 0.1, a negative flow a number, a missing one an empty cell."""
    short_log(hall, root, "2026-05-05T08:00:00Z", [(0.1, 7001, 123), (-5.2, 65535, 124), (None, 7003, None)])
    text = exported(root, "rows.csv").read_bytes().decode()
    lines = text.split("\r\n")
    assert lines[0] == (
        "time UTC,time Europe/Dublin,offset,sequence,status,clock,"
        "flow [m3/h],flow_flag,pressure [bar(g)],pressure_flag,total [m3]"
    )
    assert lines[1] == (
        "2026-05-05T08:00:00.000Z,2026-05-05T09:00:00.000,+01:00,1,ok,synchronised,0.1,,7.001,,12.3"
    )
    assert lines[2].endswith(",-5.2,,,not available,12.4")
    assert lines[3].endswith(",3,ok,synchronised,,,7.003,,")
    assert lines[4:] == [""]


def test_the_october_night_shows_its_double_hour_by_offset(hall: ModuleType, root: Path) -> None:
    """S02: six rows, half an hour apart, from 00:00 UTC on 25 October 2026."""
    short_log(hall, root, "2026-10-25T00:00:00Z", [(1.0, 7000, 1)] * 6, step=1_800_000)
    frame = pd.read_csv(exported(root, "night.csv"))
    assert [text[11:16] for text in frame["time Europe/Dublin"]] == [
        "01:00", "01:30", "01:00", "01:30", "02:00", "02:30"
    ]  # fmt: skip
    assert list(frame["offset"]) == ["+01:00", "+01:00", "+00:00", "+00:00", "+00:00", "+00:00"]
    there = pd.to_datetime(frame["time Europe/Dublin"] + frame["offset"], utc=True)
    assert list(there) == list(pd.to_datetime(frame["time UTC"]))


def test_decimal_comma_separator_mark_and_a_row_of_units(hall: ModuleType, root: Path) -> None:
    """S03, S05."""
    short_log(hall, root, "2026-05-05T08:00:00Z", [(22.5, 7001, 123), (0.25, 7002, 124)])
    words = ("--decimal", "comma", "--bom", "--units", "row")
    raw = exported(root, "de.csv", *words).read_bytes()
    assert raw.startswith(b"\xef\xbb\xbftime UTC;")
    frame = pd.read_csv(io.BytesIO(raw), sep=";", decimal=",", encoding="utf-8-sig", skiprows=[1])
    assert list(frame["flow"]) == [22.5, 0.25]
    assert list(frame["pressure"]) == [7.001, 7.002]
    assert raw.decode("utf-8-sig").split("\r\n")[1] == ";;;;;;m3/h;;bar(g);;m3"
    bare = exported(root, "bare.csv", "--units", "none", "--separator", "tab").read_text()
    assert bare.splitlines()[0].split("\t")[6] == "flow"


#: The same two rows with units in the heading, in a row of their own, and left out. Written by hand.
FORMS = {
    "heading": """\
time UTC,time Europe/Dublin,offset,sequence,status,clock,\
flow [m3/h],flow_flag,pressure [bar(g)],pressure_flag,total [m3]
2026-05-05T08:00:00.000Z,2026-05-05T09:00:00.000,+01:00,1,ok,synchronised,22.5,,7.001,,12.3
2026-05-05T08:00:01.000Z,2026-05-05T09:00:01.000,+01:00,2,ok,synchronised,0.1,,,not available,12.4
""",
    "row": """\
time UTC,time Europe/Dublin,offset,sequence,status,clock,flow,flow_flag,pressure,pressure_flag,total
,,,,,,m3/h,,bar(g),,m3
2026-05-05T08:00:00.000Z,2026-05-05T09:00:00.000,+01:00,1,ok,synchronised,22.5,,7.001,,12.3
2026-05-05T08:00:01.000Z,2026-05-05T09:00:01.000,+01:00,2,ok,synchronised,0.1,,,not available,12.4
""",
    "none": """\
time UTC,time Europe/Dublin,offset,sequence,status,clock,flow,flow_flag,pressure,pressure_flag,total
2026-05-05T08:00:00.000Z,2026-05-05T09:00:00.000,+01:00,1,ok,synchronised,22.5,,7.001,,12.3
2026-05-05T08:00:01.000Z,2026-05-05T09:00:01.000,+01:00,2,ok,synchronised,0.1,,,not available,12.4
""",
}  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
def test_units_stand_where_they_are_wanted(hall: ModuleType, root: Path, form: str) -> None:
    """S05: whole files, written down by hand; columns in the same order in each."""
    short_log(hall, root, "2026-05-05T08:00:00Z", [(22.5, 7001, 123), (0.1, 65535, 124)])
    told = exported(root, "rows.csv", "--units", form).read_bytes().decode()
    assert told == FORMS[form].replace("\n", "\r\n")


MAP = """\
register_map: 1
meter: "=1+1"
serial: {unit_address: 12}
readings:
  flow: {input: 0, type: float32, unit: m3/h}
  tag: {input: 2, type: text, registers: 6}
"""

HOSTILE = ["=1+1", "@SUM(A1)", "+1", "-1 b", '"a",b;c', "<b>&amp;", "plain"]


def test_text_from_a_meter_stays_text(hall: ModuleType, root: Path) -> None:
    """S04: what begins like a formula gets an apostrophe; numbers beside it do not."""
    what = hall.record(map_text=MAP)
    dues = [hall.ms("2026-05-05T08:00:00Z") + n * 1000 for n in range(len(HOSTILE))]
    from readout.sealing.record import pack
    from storage.journal import Row

    with Archive.open(root) as archive:
        plan = archive.journal.add_plan(what.to_text())
        rows = []
        for index, (due, text) in enumerate(zip(dues, HOSTILE, strict=True)):
            raw = text.encode().ljust(12, b"\0")
            tag = [int.from_bytes(raw[n : n + 2], "big") for n in range(0, 12, 2)]
            words, present = pack([*hall.words(-5.2, None, None)[:2], *tag])
            rows.append(
                Row(point=hall.POINT, source="live", plan=plan, due=due, time=due, clock="synchronised",
                    status="ok", words=words, present=present, sequence=index + 1)
            )  # fmt: skip
        archive.journal.append(rows)
    with exported(root, "hostile.csv").open(newline="", encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    tags = [row["tag"] for row in table]
    assert tags == ["'=1+1", "'@SUM(A1)", "'+1", "'-1 b", '"a",b;c', "<b>&amp;", "plain"]
    assert {row["flow [m3/h]"] for row in table} == {"-5.2"}


def test_a_file_is_not_replaced_unasked_nor_written_into_the_archive(hall: ModuleType, root: Path) -> None:
    short_log(hall, root, "2026-05-05T08:00:00Z", [(1.0, 7000, 1)] * 2)
    file = exported(root, "rows.csv")
    for words, sentence in (
        ([str(file)], "is there already"),
        ([str(root / "rows" / "x.csv")], "inside the archive"),
        ([str(root.parent / "nowhere" / "x.csv")], "its folder is not there"),
        ([str(root.parent / "x.txt")], "ends in .csv, .xlsx or .parquet"),
        ([str(root.parent / "x.csv"), "--decimal", "comma", "--separator", ","], "a comma cannot stand"),
        ([str(root.parent / "x.csv"), "--every", "7min"], "divide a day"),
        ([str(root.parent / "x.csv"), "--source", "memory"], "no such rows"),
    ):
        done = CliRunner().invoke(app, ["export", str(root), "--to", *words])
        assert isinstance(done.exception, WrongUse), words
        with pytest.raises(WrongUse, match=sentence):
            raise done.exception
    assert exported(root, "rows.csv", "--overwrite") == file
    whole = file.read_bytes()
    words = ["export", str(root), "--to", str(file), "--overwrite", "--from", "2026-06-01"]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 1
    assert "no rows in this span" in done.stderr
    assert file.read_bytes() == whole
    assert sorted(one.name for one in root.parent.iterdir()) == ["archive", "rows.csv"]


@pytest.mark.parametrize(("day", "hours"), [("2026-03-29", 23), ("2026-10-25", 25)])
def test_means_by_site_time_over_a_change_of_the_clock(
    hall: ModuleType, root: Path, day: str, hours: int
) -> None:
    """A row a minute, an hour of them missing: its row is there, and empty. Values are pandas'."""
    begin = pd.Timestamp(day, tz="Europe/Dublin")
    dues = hall.every(60_000, begin.isoformat(), (begin + pd.Timedelta(hours=hours)).isoformat())
    dues = [due for due in dues if not 10 * 3_600_000 <= due - dues[0] < 11 * 3_600_000]
    flow = {due: float(due // 60_000 % 89) for due in dues}
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(60_000), dues, lambda due: (flow[due], 7000, 1))
    frame = pd.read_csv(exported(root, "hours.csv", "--every", "1h"))
    index = pd.to_datetime(dues, unit="ms", utc=True).tz_convert("Europe/Dublin")
    expected = pd.Series(flow.values(), index=index).resample("h").agg(["mean", "min", "max"])
    assert len(frame) == hours
    for name in ("mean", "min", "max"):
        assert list(frame[f"flow_{name} [m3/h]"]) == pytest.approx(list(expected[name]), nan_ok=True)
    assert list(frame["measured [s]"]) == [0.0 if n == 10 else 3600.0 for n in range(hours)]
    assert frame["flow_mean [m3/h]"].isna().sum() == 1
    whole = pd.read_csv(exported(root, "days.csv", "--every", "1d"))
    assert list(whole["measured [s]"]) == [(hours - 1) * 3600.0]
    for table in (frame, whole):  # what flowed by UTC, however the site's clock cuts it
        flowed = (table["flow_mean [m3/h]"] * table["measured [s]"]).sum()
        assert flowed == pytest.approx(sum(flow.values()) * 60, rel=1e-12)
    six = pd.read_csv(exported(root, "six.csv", "--every", "6h"))
    assert [text[11:16] for text in six["time Europe/Dublin"]] == ["00:00", "06:00", "12:00", "18:00"]


def test_parquet_keeps_types_raw_registers_and_units(hall: ModuleType, root: Path) -> None:
    import pyarrow.parquet as pq

    short_log(hall, root, "2026-05-05T08:00:00Z", [(0.1, 7001, 123), (-5.2, None, 124)])
    file = exported(root, "rows.parquet")
    schema = pq.read_schema(file)
    assert schema.field("flow").metadata == {b"unit": b"m3/h", b"reference": b"20 degC, 1 bar(a)"}
    assert schema.metadata[b"pipeledger.export.serial_number"] == b"EX-0042"
    frame = pd.read_parquet(file)
    assert str(frame["flow"].dtype) == "float32"
    assert frame["raw_input_2"].tolist()[0] == 7001
    assert frame["time"].dt.tz is not None
    assert frame["sequence"].tolist() == [1, 2]
