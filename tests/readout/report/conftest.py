"""An archive of three invented days with a gap of two hours, one spike, a note, a mark and an amendment.

Constructed: the flow is 20 m3/h out of hours and 60 m3/h in shifts, pressure 7 bar(g), and 6.2 bar(g) from
09:00 to 10:00 on 2026-05-05 while 90 m3/h flow. One row of 2026-05-05 12:00 tells 250 m3/h.
"""

from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from protocols.units import quantity_of
from readout.review.review import Asked, Review, review
from storage.archive import Archive
from storage.ledger import Kind

SPIKE, SPIKE_AT = 250.0, "2026-05-05T11:00:00+00:00"
HOSTILE = "<img src=x onerror=alert(1)> =1+1 \u202egnp.exe</script>"


@pytest.fixture(scope="session")
def german_week(load: Callable[[str, str], ModuleType]) -> ModuleType:
    """The module `german_week.py`: six days with a bit of everything."""
    return load("report_test_german_week", "readout/report/german_week.py")


@pytest.fixture(scope="session")
def filled(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The archive of three days, a row every 10 s."""
    root: Path = tmp_path_factory.mktemp("report") / "archive"
    hour = hall.HOUR
    dues = [
        due
        for due in hall.every(10_000, "2026-05-05T00:00+01:00", "2026-05-08T00:00+01:00")
        if not hall.ms("2026-05-06T13:00+01:00") <= due < hall.ms("2026-05-06T15:00+01:00")
    ]
    first, spike = dues[0], hall.ms(SPIKE_AT)
    dip = range(hall.ms("2026-05-05T09:00+01:00"), hall.ms("2026-05-05T10:00+01:00"))

    def row(due: int) -> tuple[float, int, int]:
        local = (due - first) // hour % 24
        flow = SPIKE if due == spike else 90.0 if due in dip else 60.0 if 6 <= local < 22 else 20.0
        return flow, 6200 if due in dip else 7000, (due - first) // 100_000 % 10_000

    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(10_000), dues, row)
        hall.seal(archive, dues[-1] + hour)
        point = hall.POINT
        archive.ledger.append(Kind.NOTE, {"point": point, "at": SPIKE_AT, "text": HOSTILE})
    return root


@pytest.fixture(scope="session")
def told(filled: Path, hall: ModuleType) -> Callable[..., Review]:
    """The review of that archive, with a required pressure as text or none."""

    def of(required: str | None = None, **asked: Any) -> Review:
        wanted = None if required is None else quantity_of(required)
        assert not isinstance(wanted, str)
        found = review(filled, hall.POINT, "live", Asked(required=wanted, **asked))
        assert found is not None
        return found

    return of
