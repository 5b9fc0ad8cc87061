"""Report, workbook and status of a year of seconds, beside plain pandas and beside a month, in one run.

Rows come from the generator of bench/year.py, 31.5 million of them; commands and the pandas program are those
of bench/audit.py and bench/status.py.
"""

import importlib.util
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

BENCH = Path(__file__).parents[2] / "bench"

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def audit() -> Iterator[ModuleType]:
    """The module bench/audit.py, with those beside it."""
    sys.path.insert(0, str(BENCH))
    yield loaded("audit")
    sys.path.remove(str(BENCH))
    for name in ("audit", "status", "year", "figures"):
        sys.modules.pop(name, None)


def loaded(name: str) -> ModuleType:
    """A module of the folder bench."""
    spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def archive(audit: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A year: 0.16 GB."""
    root = tmp_path_factory.mktemp("year") / "archive"
    audit.year.write(root)
    return root


def test_the_report_costs_little_beside_plain_pandas(
    audit: ModuleType, archive: Path, tmp_path: Path
) -> None:
    """At most 3 × its time, wall and processor, and 0.5 × its memory; below 1 GB. Both run in turn, twice."""
    tasks = audit.tasks(archive, tmp_path)
    runs = [(audit.spent(tasks["report"]), audit.spent(tasks["plain pandas"])) for _ in range(2)]
    ours, plain = ([run[side] for run in runs] for side in (0, 1))
    for what in ("wall_s", "processor_s"):
        assert min(getattr(one, what) for one in ours) <= 3 * min(getattr(one, what) for one in plain)
    assert max(one.memory_mb for one in ours) <= 0.5 * min(one.memory_mb for one in plain)
    assert max(one.memory_mb for one in ours) < 1000
    page = (tmp_path / "audit.html").read_text(encoding="utf-8")
    assert "flow over time" in page
    assert any("files" in one.told for one in ours), "nothing was said of how far it is"


def test_a_workbook_of_minutes_has_every_minute(audit: ModuleType, archive: Path, tmp_path: Path) -> None:
    """525,600 rows below a heading, in less than 1 GB."""
    ran = audit.spent(audit.tasks(archive, tmp_path)["workbook of minutes"])
    assert ran.memory_mb < 1000
    assert "writing rows.xlsx" in ran.told
    with zipfile.ZipFile(tmp_path / "rows.xlsx") as book:
        sheets = [name for name in book.namelist() if name.startswith("xl/worksheets/sheet")]
        counts = []
        for name in sheets:
            with book.open(name) as sheet:
                counts.append(sum(piece.count(b"<row ") for piece in pieces(sheet)))
    assert max(counts) == 1 + 365 * 1440


def test_status_on_a_year_costs_little_more_than_on_a_month(
    audit: ModuleType, archive: Path, tmp_path: Path
) -> None:
    """At most 4 times the processor time (2.1 was measured), though there are twelve times the rows."""
    bench = loaded("status")
    audit.year.write(tmp_path / "month", bench.MONTH)
    year = bench.best(archive, audit.year.DAYS)
    month = bench.best(tmp_path / "month", bench.MONTH)
    assert "'no reply'" in year.told
    assert year.processor_s <= 4 * month.processor_s
    assert year.memory_mb <= 200


def pieces(sheet) -> Iterator[bytes]:
    """A sheet's text in pieces that end with a cell row, a megabyte each."""
    rest = b""
    while piece := sheet.read(1 << 20):
        *whole, rest = (rest + piece).rpartition(b"</row>")
        yield b"".join(whole)
    yield rest
