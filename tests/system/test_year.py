"""The archive's figures on rows of a second each: its size, and hours of the site's clock.

Rows come from the generator of bench/year.py. What takes a year of them is long; the same questions are asked
of a few days in every run. Times are left to bench/archive.py.
"""

import importlib.util
import math
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest

from readout.review.hourly import hourly_means
from storage.archive import Archive, ArchiveReader
from storage.verify import verify_archive

BENCH = Path(__file__).parents[2] / "bench"
ZONE = ZoneInfo("Europe/Dublin")


@pytest.fixture(scope="module")
def year() -> Iterator[ModuleType]:
    """The module bench/year.py."""
    yield from loaded("year")


@pytest.fixture(scope="module")
def bench(year: ModuleType) -> Iterator[ModuleType]:
    """The module bench/archive.py."""
    sys.path.insert(0, str(BENCH))
    yield from loaded("archive")
    sys.path.remove(str(BENCH))


def loaded(name: str) -> Iterator[ModuleType]:
    spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules[name]


def hours_by_numpy(year: ModuleType, count: int) -> list[tuple[int, int, int, list[float]]]:
    """Begin [ms], rows, rows with values, means by fsum: hours of UTC, which are Dublin's too."""
    found = []
    for day in year.days(count):
        due = day.table["due"].cast(pa.int64()).to_numpy()
        there = day.table["flow"].is_valid().to_numpy()
        values = [day.table[name].fill_null(0).to_numpy().astype(np.float64) for name in year.READINGS]
        for begin in range(int(due[0]), int(due[-1]), 3_600_000):
            mine = (due >= begin) & (due < begin + 3_600_000)
            kept = mine & there
            means = [math.fsum(value[kept]) / int(kept.sum()) for value in values]
            found.append((begin, int(mine.sum()), int(kept.sum()), means))
    return found


def check_hours(root: Path, year: ModuleType, count: int) -> None:
    """Every hour's rows, and means to 12 digits; and what the site's clock shows then."""
    found = hourly_means(root, year.POINT, "live", year.READINGS, ZONE)
    expected = hours_by_numpy(year, count)
    assert found["hour"].cast(pa.int64()).to_pylist() == [begin for begin, *_ in expected]
    assert found["rows"].to_pylist() == [rows for _, rows, _, _ in expected]
    for place, name in enumerate(year.READINGS):
        assert found[f"{name}_rows"].to_pylist() == [kept for *_, kept, _ in expected]
        assert found[name].to_pylist() == pytest.approx([means[place] for *_, means in expected], rel=1e-12)


def test_three_days_are_smaller_than_in_the_plain_layout(
    year: ModuleType, bench: ModuleType, tmp_path: Path
) -> None:
    """Whole files, ours with metadata, beside dictionary columns, zstd 3 and times as differences without."""
    year.write(tmp_path / "archive", 3)
    ours = sum(file.bytes for file in ArchiveReader(tmp_path / "archive").files())
    assert ours < 0.95 * sum(bench.plain(day.table) for day in year.days(3))
    check_hours(tmp_path / "archive", year, 3)


def test_values_with_noise_in_every_digit_take_much_less(
    year: ModuleType, bench: ModuleType, tmp_path: Path
) -> None:
    """A meter that computes in floats and rounds nothing: the plain layout's worst case."""
    year.write(tmp_path / "archive", 1, noise=True)
    (file,) = ArchiveReader(tmp_path / "archive").files()
    (day,) = year.days(1, noise=True)
    assert file.bytes < 0.65 * bench.plain(day.table)


@pytest.mark.long
def test_a_year_is_small_whole_and_answers_in_little_memory(
    year: ModuleType, bench: ModuleType, tmp_path: Path
) -> None:
    """31.5 million rows: size, proof, every hour over both clock changes, and the memory it takes."""
    root = tmp_path / "archive"
    year.write(root)
    files = ArchiveReader(root).files()
    assert len(files) == 365
    assert sum(file.bytes for file in files) < sum(bench.plain(day.table) for day in year.days())
    found = verify_archive(root)
    assert (found.faults, found.notes, found.rows) == ((), (), 365 * 86_400)
    check_hours(root, year, 365)
    assert bench.memory(root) < 300
    autumn = datetime(2026, 10, 25, tzinfo=UTC)
    asked = hourly_means(
        root, year.POINT, "live", ["flow"], ZONE, since=ms(autumn), until=ms(autumn) + 3 * 3_600_000
    )
    shown = [hour.astimezone(ZONE).isoformat() for hour in asked["hour"].to_pylist()]
    assert shown == ["2026-10-25T01:00:00+01:00", "2026-10-25T01:00:00+00:00", "2026-10-25T02:00:00+00:00"]


def ms(moment: datetime) -> int:
    """ms since 1970 UTC."""
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def test_words_stay_bit_for_bit_when_days_are_decoded_again(
    year: ModuleType, bench: ModuleType, tmp_path: Path
) -> None:
    """Two days by a map with the other word order and back again: words the same, values as at first."""
    from readout.sealing.redecode import redecode

    root = tmp_path / "archive"
    year.write(root, 2)
    first = ArchiveReader(root).read_rows(year.POINT, "live")
    other = year.register_map(year.MAP.replace(bench.RIGHT_ORDER, bench.OTHER_ORDER))
    with Archive.open(root) as archive:
        turned = redecode(archive, ArchiveReader(root).files(), other, "0")
        between = ArchiveReader(root).read_rows(year.POINT, "live")
        back = redecode(archive, list(turned.files), year.register_map(), "0")
    words = [name for name in first.column_names if name.startswith("raw_")]
    assert len(words) == 6
    assert between.select(words).equals(first.select(words))
    assert not between["flow"].equals(first["flow"])
    again = ArchiveReader(root).read_rows(year.POINT, "live")
    assert again.equals(first)
    assert [file.rows for file in back.replaced] == [86_400, 86_400]
    assert verify_archive(root).faults == ()
