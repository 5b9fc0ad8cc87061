"""Rows missing within a minute: which seconds, and what the totaliser counted meanwhile, row by row."""

import random
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import pytest

from readout.report.content.answers import display
from readout.report.content.sections import pictures
from readout.report.language.words import Language, Words
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


@pytest.mark.parametrize(
    ("language", "said"),
    [
        (Language.ENGLISH, "too little, for its steps, to be held"),
        (Language.GERMAN, "für seine Schritte zu wenig"),
    ],
)
def test_a_total_that_counted_too_little_is_not_compared_on_the_page(
    hall: ModuleType, tmp_path: Path, language: Language, said: str
) -> None:
    """Half a minute of 120 m3/h is 1 m3, and counted in steps of 0.1 m3."""
    dues = hall.every(1000, "2026-05-05T10:00:00Z", "2026-05-05T10:00:30Z")
    with Archive.open(tmp_path / "archive") as archive:
        hall.fill(archive, hall.record(1000), dues, lambda due: (120.0, 7000, (due - dues[0]) // 3000))
        hall.seal(archive, dues[-1] + 1000)
    found = review(tmp_path / "archive", hall.POINT)
    assert found is not None
    (first, _) = display(found, Words(language)).items
    assert said in str(first)
    assert "next to nothing" in str(pictures(found, Words()).items[0]), "half a minute in pictures"
