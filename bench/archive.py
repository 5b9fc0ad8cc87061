"""An archive of a year of seconds beside plain tools on the same rows: size, sealing, proof, questions.

    .venv/bin/python bench/archive.py [DAYS]

365 days need about six minutes and 1 GB in the folder for temporary files.
"""

import hashlib
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter, process_time
from typing import Any
from zoneinfo import ZoneInfo

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq
import year
from figures import interleaved, seconds, spread, table

from readout.review.hourly import hourly_means
from readout.sealing.merge import merge
from readout.sealing.record import pack
from readout.sealing.redecode import redecode
from readout.sealing.seal import seal_journal
from storage.archive import Archive, ArchiveReader
from storage.journal import ClockNow, Row
from storage.verify import verify_archive

RUNS = 5
JOURNAL_HOURS, MERGED_DAYS, REDECODED_DAYS = 6, 5, 60
COUNTED = dict.fromkeys(("sequence", "due", "time"), "DELTA_BINARY_PACKED")
RIGHT_ORDER, OTHER_ORDER = "type: float32, unit: m3/h", "type: float32, word_order: low first, unit: m3/h"


@dataclass(frozen=True, slots=True)
class Layout:
    """A way to write a day's rows, and the bytes of each day in it."""

    name: str
    written: Callable[[pa.Table], int]


def plain(rows: pa.Table) -> int:
    """Bytes of a whole file: each value and word its own dictionary column, zstd 3, times as differences."""
    return _size(rows, 3, use_dictionary=[n for n in rows.column_names if n not in COUNTED])


def _size(rows: pa.Table, level: int, **how: object) -> int:
    sink = pa.BufferOutputStream()
    bare = rows.replace_schema_metadata(None)
    encodings = {"column_encoding": COUNTED, **how}
    pq.write_table(bare, sink, compression="zstd", compression_level=level, **encodings)  # type: ignore[arg-type]
    return sink.getvalue().size


def _scaled(rows: pa.Table) -> int:
    """Readings as whole numbers of their steps, all whole numbers as differences; words by dictionary."""
    for name, step in zip(year.READINGS, year.STEPS, strict=True):
        number = pa.array(
            [None if v is None else round(v / step) for v in rows[name].to_pylist()], pa.int32()
        )
        rows = rows.set_column(rows.column_names.index(name), name, number)
    whole = COUNTED | dict.fromkeys(year.READINGS, "DELTA_BINARY_PACKED")
    named = [n for n in rows.column_names if n not in whole]
    return _size(rows, 3, column_encoding=whole, use_dictionary=named)


def _packed(rows: pa.Table) -> int:
    """All words of a row in one column of 12 bytes instead of a column each."""
    raw = [name for name in rows.column_names if name.startswith("raw_")]
    words = zip(*(rows[name].fill_null(0).to_pylist() for name in raw), strict=True)
    joined = pa.array([b"".join(w.to_bytes(2, "big") for w in row) for row in words], pa.binary(2 * len(raw)))
    rows = rows.drop_columns(raw).append_column("raw", joined)
    return _size(rows, 3, use_dictionary=[n for n in rows.column_names if n not in COUNTED])


TRIED = [
    Layout("the plain layout", plain),
    Layout("the same, zstd 9", lambda rows: _size(rows, 9, use_dictionary=_named(rows))),
    Layout("the same, zstd 19", lambda rows: _size(rows, 19, use_dictionary=_named(rows))),
    Layout("Parquet's defaults with zstd 3", lambda rows: _size(rows, 3, column_encoding=None)),
    Layout("words of a row in one column", _packed),
    Layout("readings as scaled whole numbers, differences", _scaled),
    Layout("without readings: words alone", lambda rows: plain(rows.drop_columns(list(year.READINGS)))),
]


def _named(rows: pa.Table) -> list[str]:
    return [name for name in rows.column_names if name not in COUNTED]


def sizes(root: Path, count: int) -> str:
    """The archive's files beside the plain layout on all days, other layouts on every thirtieth."""
    ours = {file.file: file.bytes for file in ArchiveReader(root).files()}
    per_day = [ours[name] for name in sorted(ours)]
    whole = sum(plain(day.table) for day in year.days(count))
    days = list(range(0, count, 30))
    picked = [day.table for number, day in enumerate(year.days(days[-1] + 1)) if number in days]
    base = sum(plain(rows) for rows in picked)
    rows = count * year.DAY_S
    found = [
        ["the archive, all days", f"{sum(per_day) / rows:.3f}", f"{sum(per_day) / whole:.3f}"],
        ["the archive, picked days", f"{sum(per_day[n] for n in days) / len(days) / year.DAY_S:.3f}",
         f"{sum(per_day[n] for n in days) / base:.3f}"],
    ]  # fmt: skip
    for layout in TRIED:
        size = sum(layout.written(one) for one in picked)
        found.append([layout.name, f"{size / len(days) / year.DAY_S:.3f}", f"{size / base:.3f}"])
    return table(["whole files", "bytes a row", "size / plain layout"], found)


def sealing(folder: Path) -> list[str]:
    """Rows as a recorder seals them: out of the journal, decoded by the map, written, cut from it."""
    hours = next(year.days(1)).table.slice(0, JOURNAL_HOURS * 3600)
    raw = [name for name in hours.column_names if name.startswith("raw_")]
    with Archive.open(folder / "journal") as archive:
        plan = archive.journal.add_plan(year.record().to_text())
        archive.journal.append(_row(plan, row, raw) for row in hours.to_pylist())
        begun = process_time()
        seal_journal(archive, ClockNow("bench", 0, 0, "synchronised"))
        spent = process_time() - begun
    return ["sealing out of the journal", f"{hours.num_rows / spent / 1e6:.2f}", "processor", "1"]


def _row(plan: str, row: dict[str, Any], raw: list[str]) -> Row:
    """A sealed row as the journal had it."""
    words, present = pack([row[name] for name in raw])
    due, time = (
        None if row[name] is None else round(row[name].timestamp() * 1000) for name in ("due", "time")
    )
    assert due is not None
    return Row(
        point=year.POINT, source="live", plan=plan, due=due, time=time, clock=row["clock"],
        status=row["status"], words=words, present=present, sequence=row["sequence"],
    )  # fmt: skip


def merging(folder: Path) -> list[str]:
    """Hours of some days joined: rows a second of one processor."""
    root = folder / "hours"
    with Archive.open(root) as archive:
        for day in year.days(MERGED_DAYS):
            for hour in range(24):
                first, rows = day.first + hour * 3600, day.table.slice(hour * 3600, 3600)
                year.seal(archive, year.Day(day.date, rows, first, first + 3599))
        files = ArchiveReader(root).files()
        begun = process_time()
        for number in range(MERGED_DAYS):
            merge(archive, files[number * 24 : number * 24 + 24])
        spent = process_time() - begun
    rows = MERGED_DAYS * year.DAY_S
    return ["joining 24 hours to a day", f"{rows / spent / 1e6:.2f}", "processor", "1"]


def redecoding(folder: Path, count: int) -> list[str]:
    """Days decoded again by a map with another word order; their words are compared bit by bit."""
    other = folder / "again"
    with Archive.open(other) as archive:
        for day in year.days(min(count, REDECODED_DAYS)):
            year.seal(archive, day)
        files = ArchiveReader(other).files()
        before = [_words(other / file.file) for file in files]
        begun = perf_counter()
        new = redecode(archive, files, year.register_map(year.MAP.replace(RIGHT_ORDER, OTHER_ORDER)), "bench")
        spent = perf_counter() - begun
    after = [_words(other / file.file) for file in new.files]
    if before != after:
        raise SystemExit("words differ after decoding again")
    rows = sum(file.rows for file in new.files)
    return [
        "decoding again, words bit for bit the same",
        f"{rows / spent / 1e6:.2f}",
        "clock, all cores",
        "3",
    ]


def _words(file: Path) -> str:
    """SHA-256 over a file's words and where they are null."""
    rows = pq.ParquetFile(file).read()
    names = sorted(name for name in rows.column_names if name.startswith("raw_"))
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, rows.select(names).schema.remove_metadata()) as stream:
        stream.write_table(rows.select(names).replace_schema_metadata(None).combine_chunks())
    return hashlib.sha256(sink.getvalue()).hexdigest()


def proof(root: Path) -> str:
    """`verify` beside programs that do nothing but hash the same files."""
    files = [str(path) for path in sorted(root.rglob("*.parquet"))]

    def hashed() -> None:
        for file in files:
            with open(file, "rb") as stream:  # noqa: PTH123  (nothing but hashing is to be timed)
                hashlib.file_digest(stream, "sha256")

    def verified() -> None:
        if verify_archive(root).faults:
            raise SystemExit("the archive has faults")

    def sha256sum() -> None:
        subprocess.run(["sha256sum", *files], stdout=subprocess.DEVNULL, check=True)

    actions = {"sha256sum": sha256sum, "Python's hashlib, one thread": hashed, "verify": verified}
    found = interleaved({name: seconds(action) for name, action in actions.items()}, RUNS)
    ours = median(found["verify"])
    rows = [[name, spread(times), f"{median(times) / ours:.2f}"] for name, times in found.items()]
    size = sum(Path(file).stat().st_size for file in files) / len(files) / 1000
    return table([f"{len(files)} files of {size:.0f} kB", "ms: median (min to max)", "time / verify's"], rows)


PLAIN_HOURS = {
    "hours by whole-number division": "epoch_us(due) // 3600000000",
    "hours by time_bucket": "time_bucket(INTERVAL 1 hour, due)",
}


def hourly_plain(files: list[str], hour: str) -> None:
    """The question in DuckDB alone, over files that are known beforehand."""
    means = ", ".join(f"avg({name})" for name in year.READINGS)
    with duckdb.connect() as session:
        query = f"SELECT {hour} AS hour, {means} FROM read_parquet($1) GROUP BY hour ORDER BY hour"
        session.sql(query, params=[files]).to_arrow_table()


def hourly(root: Path, **span: int) -> pa.Table:
    """The question of the archive."""
    zone = ZoneInfo(year.SITE_ZONE)
    return hourly_means(root, year.POINT, "live", year.READINGS, zone, **span)  # type: ignore[arg-type]


def questions(root: Path, count: int) -> str:
    """Hourly means of everything and of one day, beside DuckDB alone; and the memory they take."""
    files = [str(path) for path in sorted((root / "rows").rglob("*.parquet"))]
    middle = datetime.combine(year.FIRST_DAY + timedelta(days=count // 2), datetime.min.time(), UTC)
    day = round(middle.timestamp() * 1000)
    actions: dict[str, Callable[[], object]] = {
        f"DuckDB, {name}": lambda hour=hour: hourly_plain(files, hour) for name, hour in PLAIN_HOURS.items()
    }
    actions["archive, all hours of the site"] = lambda: hourly(root)
    actions["archive, one day"] = lambda: hourly(root, since=day, until=day + 86_400_000)
    found = interleaved({name: seconds(action) for name, action in actions.items()}, RUNS)
    fastest = min(median(found[f"DuckDB, {name}"]) for name in PLAIN_HOURS)
    rows = [[name, spread(times), f"{median(times) / fastest:.3f}"] for name, times in found.items()]
    shown = table(["hourly means of three readings", "ms: median (min to max)", "time / fastest plain"], rows)
    return f"{shown}\nmemory of a process that asks the archive for all hours: {memory(root):.0f} MiB"


def memory(root: Path) -> float:
    """Peak resident memory [MiB] of a process that asks for all hours, everything it loads included.

    Not by getrusage: its peak goes on from the process that started this one.
    """
    code = (
        "import sys; from pathlib import Path; from zoneinfo import ZoneInfo;"
        "from readout.review.hourly import hourly_means;"
        f"asked = ({year.POINT!r}, 'live', {year.READINGS!r}, ZoneInfo({year.SITE_ZONE!r}));"
        "hourly_means(Path(sys.argv[1]), *asked);"
        "print(Path('/proc/self/status').read_text().partition('VmHWM:')[2].split()[0])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(root)], capture_output=True, text=True, check=True)
    return float(done.stdout) / 1024


def report(folder: Path, count: int) -> Iterator[str]:
    """One table after the other."""
    root = folder / "year"
    spent = year.write(root, count)
    rows = count * year.DAY_S
    decoded = ["sealing a day that is decoded", f"{rows / spent / 1e6:.2f}", "processor", "1"]
    yield f"{rows} rows in {count} files"
    yield sizes(root, count)
    speeds = [decoded, sealing(folder), merging(folder), redecoding(folder, count)]
    yield table(["what", "million rows/s", "by", "reach"], speeds)
    yield proof(root)
    yield proof(folder / "hours")
    yield questions(root, count)


def main() -> None:
    """Print tables as they come."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else year.DAYS
    with TemporaryDirectory() as name:
        for part in report(Path(name), count):
            print(part, end="\n\n", flush=True)
        shutil.rmtree(name, ignore_errors=True)


if __name__ == "__main__":
    main()
