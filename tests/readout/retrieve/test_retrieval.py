"""Retrieving: everything once, resumed, and nothing silently changed."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

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
