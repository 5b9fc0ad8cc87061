"""Retrieving: everything once, resumed, and nothing silently changed."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from readout.errors import WrongUse
from simulators.log_memory import LogOptions

WAYS = ("window", "window by two requests", "registers", "files", "queue")


@pytest.mark.parametrize("way", WAYS)
def test_every_record_value_and_time_arrives_by_each_way(
    hall: Callable[..., Any], memory: SimpleNamespace, way: str
) -> None:
    place = hall(memory.map_text(way), LogOptions.prefilled(1200, 5.0, recording=False))
    visit = place.fetch()
    assert visit.document["records_new"] == 1200
    assert visit.retrieved.complete
    place.as_the_meter()
    again = place.fetch()
    assert (again.document["records_new"], again.document["records_known"]) == (0, 1200)
    place.as_the_meter()


def test_the_time_left_is_told_before_and_while_records_come(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    """1,000 records with a rest of 100 ms before each request: within a fifth of what it takes, from the
    first twentieth on; and the forecast before the first record, too."""
    head = memory.head.replace("wire: {", "wire: {pause: 100 ms, ")
    place = hall(memory.map_text("registers", head=head), LogOptions.prefilled(1000, 5.0, recording=False))
    seen: list[tuple[float, Any]] = []
    place.fetch(watch=lambda progress: seen.append((place.clock.monotonic(), progress)))
    ended = seen[-1][0]
    early = next((at, progress) for at, progress in seen if progress.records >= 50)
    assert early[1].total == 1000
    assert early[1].left_s == pytest.approx(ended - early[0], rel=0.2)
    (forecast,) = [said for said in place.said if "to fetch" in said]
    assert forecast == "header: 1000 records to fetch, about 12 s at 19200 8E1"
    assert 11 < ended - seen[0][0] < 13


def test_a_map_that_would_change_a_columns_type_is_refused(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    """Nothing is read: files of one point would not go together any more."""
    place = hall(memory.map_text("window"), LogOptions.prefilled(50, 5.0, recording=False))
    place.fetch()
    map_file = place.folder / "map.yaml"
    text = map_file.read_text(encoding="utf-8")
    map_file.write_text(text.replace("scale: 0.1, unit: degC", "unit: degC"), encoding="utf-8")
    asked = len(place.requests)
    with pytest.raises(WrongUse, match=r"temperature \(kept as double, now int16\)"):
        place.fetch()
    assert not any(request[1] == 23 for request in place.requests[asked:])
