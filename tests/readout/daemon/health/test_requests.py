"""Which causes of failed requests grow, and which of them fall short: expected shares are worked out here."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from readout.clock import iso
from readout.daemon.health.health import Health, health
from readout.daemon.health.shortfalls import shortfalls
from storage.archive import Archive
from storage.ledger import Kind
from storage.reserve import Room

HOUR = 3_600_000


@pytest.fixture
def asked(hall: ModuleType, tmp_path: Path) -> Callable[..., Health]:
    """How an archive stands that covers three days, and tells of requests with its last two."""

    def make(before: dict[str, Any], day: dict[str, Any]) -> Health:
        end = hall.ms("2026-05-08T00:00Z")
        with Archive.open(tmp_path / "archive", utc=lambda: (end - 72 * HOUR) / 1000) as archive:
            archive.ledger.append(Kind.STARTED, {"points": {hall.POINT: {}}})
            hall.fill(archive, hall.record(HOUR), range(end - 72 * HOUR, end, HOUR),
                      lambda _: (300.0, 7000, 100))  # fmt: skip
            for at, told in ((end - 24 * HOUR, before), (end, day)):
                event = {"what": "failed requests", "points": {hall.POINT: told}, "at": iso(at / 1000)}
                archive.ledger.append(Kind.EVENT, event)
        found = health(tmp_path / "archive", end)
        return replace(found, running=True, room=Room(50 << 30, 100 << 30), full_in_s=None)

    return make


BEFORE = {"requests": 20_000, "failed": {"bad checksum": 40, "no reply": 40}}


@pytest.mark.parametrize(
    ("day", "grows"),
    [
        # 0.2 % before: 3 times that are 60 of 10,000.
        (
            {"requests": 10_000, "failed": {"bad checksum": 60}},
            "0.60% of the last day's requests, 0.20% before",
        ),
        ({"requests": 10_000, "failed": {"bad checksum": 59}}, None),
        ({"requests": 1000, "failed": {"bad checksum": 19}}, None),
        (
            {"requests": 1000, "failed": {"bad checksum": 20}},
            "2.00% of the last day's requests, 0.20% before",
        ),
        # More in that day than in all the time before: the recording has just begun.
        ({"requests": 20_001, "failed": {"bad checksum": 900}}, None),
    ],
)
def test_a_cause_grows_where_its_share_is_three_times_what_it_was(
    hall: ModuleType, asked: Callable[..., Health], day: dict[str, Any], grows: str | None
) -> None:
    """Without a row that it cost nothing falls short."""
    found = asked(BEFORE, day)
    told = [str(one) for one in found.points[hall.POINT].requests.growing]
    if grows is None:
        assert told == []
    else:
        assert [one.partition(". See")[0] for one in told] == [f"bad checksum grows: {grows}"]
    assert shortfalls(found, 0.95, hall.ms("2026-05-08T00:00Z")) == []


def test_what_grows_and_costs_rows_falls_short(hall: ModuleType, asked: Callable[..., Health]) -> None:
    """Of the two that grow, bad checksums cost three rows, silence none."""
    day = {"requests": 10_000, "failed": {"bad checksum": 100, "no reply": 80}, "rows": {"bad checksum": 3}}
    (told,) = shortfalls(asked(BEFORE, day), 0.95, hall.ms("2026-05-08T00:00Z"))
    assert told == (
        f"{hall.POINT}: bad checksum grows: 1.00% of the last day's requests, 0.20% before; rows that lack "
        "values for it: 3. See cable, shield, termination, and what was switched on near them"
    )
