"""Rows missing within a minute: which seconds, and what the totaliser counted meanwhile, row by row."""

import random
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import pytest

from readout.review.review import review
from storage.archive import Archive


@pytest.fixture(scope="module")
def holed(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory):
    """Ten minutes of seconds without a fifth of them; every third of the rest has no total."""
    root: Path = tmp_path_factory.mktemp("holes") / "archive"
    chance, total = random.Random(43), 0
    rows: dict[int, tuple[float, int, int | None]] = {}
    for due in hall.every(1000, "2026-05-05T10:00Z", "2026-05-05T10:10Z"):
        total += chance.randrange(9)
        if chance.random() < 0.8:
            rows[due] = (100.0, 7000, None if chance.random() < 1 / 3 else total)
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(1000), list(rows), rows.__getitem__)
        hall.seal(archive, max(rows) + 1000)
    found = review(root, hall.POINT)
    assert found is not None
    return found, rows


def test_every_gap_has_its_own_second(holed) -> None:
    """Runs of missing seconds, counted off the rows."""
    found, rows = holed
    dues = sorted(rows)
    wanted = [(a + 1000, b) for a, b in pairwise(dues) if b - a > 1000]
    assert [(gap.begin_ms, gap.end_ms) for gap in found.coverage.gaps] == wanted
    assert [gap.missing_s for gap in found.coverage.gaps] == [(b - a) / 1000 for a, b in wanted]
    assert found.coverage.measured_s == len(rows)


def test_what_was_counted_in_gaps_is_told_apart_from_what_was_while_rows_came(holed) -> None:
    """A total is tenths of a m3; a step between rows more than a second apart was counted in a gap."""
    found, rows = holed
    shown = [(due, rows[due][2]) for due in sorted(rows) if rows[due][2] is not None]
    steps = [(b - a, y - x) for (a, x), (b, y) in pairwise(shown)]
    assert found.totals is not None
    assert found.totals.counted == pytest.approx(sum(step for apart, step in steps if apart == 1000) / 10)
    assert found.totals.in_gaps == pytest.approx(sum(step for apart, step in steps if apart > 1000) / 10)
