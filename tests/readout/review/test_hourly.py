"""Hourly means by the site's clock: compared with sums that Python's own calendar and fsum make."""

import math
import random
import subprocess
import sys
from collections import defaultdict
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pyarrow as pa
import pytest

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.plan.plan import plan_round, polled_values
from readout.review.hourly import hourly_means
from readout.sealing.record import Record, pack
from storage.archive import Archive, ArchiveReader, Replacement
from storage.errors import ArchiveAbsent, ArchiveDamaged
from storage.journal import Row
from storage.ledger import Kind

POINT = "bottling-hall-header"
TIME = pa.timestamp("ms", "UTC")
MINUTE, HOUR = 60_000, 3_600_000


def ms(text: str) -> int:
    """A moment as ms since 1970 UTC."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def rows_from(start: str, count: int) -> dict[int, float | None]:
    """A row every seven minutes: due [ms since 1970 UTC] → flow, null now and then. Constructed."""
    values = random.Random(start)
    return {
        ms(start) + number * 7 * MINUTE: None if number % 13 == 5 else round(values.uniform(0, 900), 1)
        for number in range(count)
    }


def seal(archive: Archive, rows: dict[int, float | None], **more: pa.Array) -> None:
    """One file; its rows' numbers follow those before."""
    first = archive.journal.next_sequence(POINT, "live")
    table = pa.table(
        {
            "sequence": pa.array(range(first, first + len(rows)), pa.int64()),
            "due": pa.array(list(rows), TIME),
            "flow": pa.array(list(rows.values()), pa.float64()),
            **more,
        }
    )
    day = datetime.fromtimestamp(min(rows) / 1000, UTC).date()
    archive.seal(
        table, point=POINT, source="live", date=day, first_sequence=first,
        last_sequence=first + len(rows) - 1, metadata={},
    )  # fmt: skip
    archive.journal.raise_sequences({(POINT, "live"): first + len(rows) - 1})


def by_hand(rows: dict[int, float | None], zone: ZoneInfo) -> list[tuple[int, int, float | None, int]]:
    """Hours as Python's calendar has them: rows with the same date, hour and offset, in order.

    The hour's first instant is found by going back from a row minute by minute while those three stay.
    """
    hours: dict[tuple[date, int, object], list[tuple[int, float | None]]] = defaultdict(list)

    def place(due: int) -> tuple[date, int, object]:
        local = datetime.fromtimestamp(due / 1000, UTC).astimezone(zone)
        return local.date(), local.hour, local.utcoffset()

    for due, flow in sorted(rows.items()):
        hours[place(due)].append((due, flow))
    found = []
    for where, members in hours.items():
        begin = members[0][0] // MINUTE * MINUTE
        while place(begin - MINUTE) == where:
            begin -= MINUTE
        values = [flow for _, flow in members if flow is not None]
        mean = math.fsum(values) / len(values) if values else None
        found.append((begin, len(members), mean, len(values)))
    return sorted(found)


def asked(root: Path, zone: ZoneInfo, **span: int) -> list[tuple[int, int, float | None, int]]:
    """The same from the archive."""
    found = hourly_means(root, POINT, "live", ["flow"], zone, **span)
    begins = found["hour"].cast(pa.int64()).to_pylist()
    return list(
        zip(begins, *(found[name].to_pylist() for name in ("rows", "flow", "flow_rows")), strict=True)
    )


def same(found: list[tuple], expected: list[tuple]) -> None:
    """Hours, rows and counts exactly, means to 12 digits."""
    assert [(*row[:2], row[3]) for row in found] == [(*row[:2], row[3]) for row in expected]
    for one, other in zip(found, expected, strict=True):
        assert one[2] == (other[2] if other[2] is None else pytest.approx(other[2], rel=1e-12))


#: Each zone with the days on which its clock was set: by an hour, by half an hour, and never.
CHANGES = [
    ("Europe/Dublin", ["2026-03-28T12:00Z", "2026-10-24T12:00Z"]),
    ("America/St_Johns", ["2026-03-07T12:00Z", "2026-10-31T12:00Z"]),  # UTC-3:30, -2:30 in summer
    ("Australia/Lord_Howe", ["2026-04-04T00:00Z", "2026-10-03T00:00Z"]),  # UTC+11 and +10:30
    ("Asia/Kathmandu", ["2026-03-28T12:00Z"]),  # UTC+5:45
]


@pytest.mark.parametrize(("name", "starts"), CHANGES, ids=[name for name, _ in CHANGES])
def test_hours_are_those_of_the_sites_clock(root: Path, name: str, starts: list[str]) -> None:
    """Over a day and more around each change; the hour that comes twice in autumn is two."""
    rows: dict[int, float | None] = {}
    with Archive.open(root) as archive:
        for start in starts:
            part = rows_from(start, 400)
            seal(archive, part)
            rows |= part
    same(asked(root, ZoneInfo(name)), by_hand(rows, ZoneInfo(name)))


def test_the_two_hours_of_october_stay_two_as_pandas_has_them(root: Path) -> None:
    """Dublin's clock shows 01:00 to 02:00 twice on 25 October 2026; pandas' resample keeps them apart too."""
    rows = rows_from("2026-10-24T22:00Z", 60)
    with Archive.open(root) as archive:
        seal(archive, rows)
    series = pd.Series(rows.values(), index=pd.to_datetime(list(rows), unit="ms", utc=True), dtype=float)
    expected = series.tz_convert("Europe/Dublin").resample("h").mean()
    found = asked(root, ZoneInfo("Europe/Dublin"))
    assert [begin for begin, *_ in found] == [round(hour.timestamp() * 1000) for hour in expected.index]
    assert [mean for _, _, mean, _ in found] == pytest.approx(list(expected), rel=1e-12)
    local = [hour.isoformat() for hour in expected.index]
    assert {"2026-10-25T01:00:00+01:00", "2026-10-25T01:00:00+00:00"} <= set(local)


def test_a_span_keeps_other_rows_out(root: Path) -> None:
    """`since` is included, `until` is not; an hour that is cut counts the rows that are left."""
    rows = rows_from("2026-05-03T00:00Z", 200)
    with Archive.open(root) as archive:
        for first in (0, 100):
            seal(archive, dict(list(rows.items())[first : first + 100]))
    since, until = sorted(rows)[33], sorted(rows)[151]
    kept = {due: flow for due, flow in rows.items() if since <= due < until}
    zone = ZoneInfo("Europe/Dublin")
    same(asked(root, zone, since=since, until=until), by_hand(kept, zone))
    assert asked(root, zone, since=max(rows) + 1) == []


MAP = """\
register_map: 1
meter: Hollow Mere header meter
serial: {unit_address: 12}
readings:
  flow: {input: 0, type: uint16, scale: 0.1, unit: m3/h, not_available: [65535]}
"""


def wait(archive: Archive, rows: dict[int, float | None]) -> None:
    """Rows for the journal, with flow in tenths at input register 0."""
    found = parse_map(MAP.encode(), "map.yaml").map
    assert found is not None
    plan = plan_round(found, polled_values(found), SerialFormat(19200, "even", 8, 1), 12)
    what = Record(
        name=POINT, source="live", columns=plan.columns, map_text=MAP, map_sha256=found.sha256, point={},
        plan={}, meter={}, settings={}, line={}, version="0",
    )  # fmt: skip
    identity = archive.journal.add_plan(what.to_text())
    first = archive.journal.next_sequence(POINT, "live")
    journal = []
    for sequence, (due, flow) in enumerate(rows.items(), first):
        words, present = pack([65535 if flow is None else round(flow * 10)])
        journal.append(
            Row(point=POINT, source="live", plan=identity, due=due, time=due + 31, clock="synchronised",
                status="ok", words=words, present=present, sequence=sequence)
        )  # fmt: skip
    archive.journal.append(journal)


def test_rows_still_in_the_journal_are_counted(root: Path) -> None:
    """Before anything is sealed, and where an hour lies half in a file and half in the journal."""
    zone = ZoneInfo("Europe/Dublin")
    rows = rows_from("2026-05-03T00:00Z", 60)
    early, late = dict(list(rows.items())[:31]), dict(list(rows.items())[31:])
    with Archive.open(root) as archive:
        assert asked(root, zone) == []
        seal(archive, early)
        wait(archive, late)
        same(asked(root, zone), by_hand(rows, zone))


def test_readings_that_came_later_or_never(root: Path) -> None:
    """Null before they came, by count too; a name that nobody kept is null throughout."""
    rows = rows_from("2026-05-03T00:00Z", 20)
    half = list(rows.items())
    with Archive.open(root) as archive:
        seal(archive, dict(half[:10]))
        seal(archive, dict(half[10:]), pressure=pa.array([7.0 + n for n in range(10)], pa.float32()))
    found = hourly_means(root, POINT, "live", ["pressure", 'no"where'], ZoneInfo("UTC"))
    assert found["pressure_rows"].to_pylist() == [0, 8, 2]
    assert found["pressure"].to_pylist() == [None, pytest.approx(10.5), pytest.approx(15.5)]
    assert found['no"where'].null_count == 3
    with pytest.raises(ValueError, match=r"due: timestamp.* has no mean"):
        hourly_means(root, POINT, "live", ["due"], ZoneInfo("UTC"))


def test_files_replaced_while_they_are_read_are_read_once(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two files become one behind the reader's back: asked again, every row once."""
    rows = rows_from("2026-05-03T00:00Z", 40)
    half = list(rows.items())
    real: Callable[..., object] = ArchiveReader.inventory
    with Archive.open(root) as archive:
        seal(archive, dict(half[:20]))
        seal(archive, dict(half[20:]))

        def merged_behind(reader: ArchiveReader) -> object:
            found = real(reader)
            files = real(reader).of(POINT, "live")
            if len(files) == 2:
                table = pa.concat_tables([archive.read(file) for file in files])
                archive.replace(
                    Kind.MERGED, [Replacement(tuple(files), table, table, {})], unchanged=lambda _: True,
                    content={},
                )  # fmt: skip
            return found

        monkeypatch.setattr(ArchiveReader, "inventory", merged_behind)
        same(asked(root, ZoneInfo("UTC")), by_hand(rows, ZoneInfo("UTC")))
    assert len(ArchiveReader(root).files()) == 1


def test_an_archive_that_is_not_whole_is_told(root: Path) -> None:
    with Archive.open(root) as archive:
        seal(archive, rows_from("2026-05-03T00:00Z", 20))
    (file,) = (root / "rows").rglob("*.parquet")
    whole = file.read_bytes()
    file.write_bytes(whole[:-20])
    with pytest.raises(ArchiveDamaged, match="verify the archive"):
        asked(root, ZoneInfo("UTC"))
    file.unlink()
    with pytest.raises(ArchiveDamaged, match="is missing although the ledger knows it"):
        asked(root, ZoneInfo("UTC"))
    with pytest.raises(ArchiveAbsent):
        asked(root / "elsewhere", ZoneInfo("UTC"))


def test_a_program_that_records_does_not_load_the_database() -> None:
    """Imported only when a question is asked."""
    code = (
        "import sys, readout.review.hourly; print(sorted({'duckdb', 'pandas', 'pyarrow'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_records_of_a_meters_memory_go_by_their_time() -> None:
    """From a golden archive: records at 21:59:58.5 and 22:59:58.5 UTC, and one whose time nobody knows."""
    archive = Path(__file__).parents[2] / "golden/archive-2/archive"
    found = hourly_means(archive, "compressor-2", "memory", ["flow", "temperature"], ZoneInfo("UTC"))
    assert [hour.isoformat() for hour in found["hour"].to_pylist()] == [
        "2026-05-02T21:00:00+00:00",
        "2026-05-02T22:00:00+00:00",
    ]
    assert found["flow"].to_pylist() == [12.5, None]
    assert found["temperature"].to_pylist() == [23.1, -2.5]


def test_rows_whose_time_nobody_knows_are_in_no_hour() -> None:
    """Two sealed rows of that archive have no time; one in the journal has one of 1970, its clock unset."""
    archive = Path(__file__).parents[2] / "golden/archive-2/archive"
    found = hourly_means(archive, "compressor-2", "live", ["flow"], ZoneInfo("UTC"))
    assert found["rows"].to_pylist() == [5]
    assert found["flow"].to_pylist() == [pytest.approx((50 + 50.375 + 650.25 + 12.5 + 12.5) / 5)]
