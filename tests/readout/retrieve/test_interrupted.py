"""Stopped, unplugged or killed anywhere: the next fetch goes on where this one was."""

import threading
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from readout.cli.memory_visit import Visit
from simulators.log_memory import LogOptions

RECORDS, WINDOW = 600, 15
#: Function 23 (MODBUS Application Protocol V1.1b3, 6.17, p. 38): write start at byte 6, words at byte 11.
READ_WRITE = 23


def asked(request: bytes) -> range | None:
    """The records that a request of the window by function 23 asks for; echo and 4 registers a record."""
    if request[1] != READ_WRITE:
        return None
    first = int.from_bytes(request[11:15])
    return range(first, first + (int.from_bytes(request[4:6]) - 2) // 4)


def asked_twice(requests: list[bytes]) -> int:
    """How many records were asked for more than once, counted as often."""
    numbers = [number for request in requests for number in asked(request) or ()]
    return len(numbers) - len(set(numbers))


@pytest.mark.parametrize("after", [1, 4, 9, 10, 11, 12, 13, 30, 47])
def test_a_pulled_cable_costs_at_most_two_windows(
    hall: Callable[..., Any], memory: SimpleNamespace, after: int
) -> None:
    """Pulled out after some requests; what came until then is sealed, the rest comes the next time."""
    place = hall(memory.map_text("window"), LogOptions.prefilled(RECORDS, 5.0, recording=False))
    reply, left = place.meter.reply, [after + 5]  # the five before the first window: identity, clock, state

    def pulled(frame: bytes) -> bytes | None:
        left[0] -= 1
        if left[0] < 0:
            place.port.unplug()
            return None
        answer: bytes | None = reply(frame)
        return answer

    first = place.fetch(answer=pulled)
    assert first.lost
    assert first.document["records_new"] < RECORDS
    assert len(place.rows()["record"]) == first.document["records_new"]
    second = place.fetch()
    assert second.retrieved.complete
    assert second.document["records_new"] + second.document["records_known"] == RECORDS
    place.as_the_meter()
    assert asked_twice(place.requests) <= 2 * WINDOW


def test_stopped_by_the_technician_at_every_tenth_window(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    place = hall(memory.map_text("window"), LogOptions.prefilled(RECORDS, 5.0, recording=False))
    visits: list[Visit] = []
    while not visits or visits[-1].retrieved.interrupted:
        stop, came = threading.Event(), []

        def watch(_: object, stop: threading.Event = stop, came: list[int] = came) -> None:
            came.append(1)
            if len(came) == 10:
                stop.set()

        visits.append(place.fetch(stop=stop, watch=watch))
    assert [visit.document["records_new"] for visit in visits] == [150, 150, 150, 150, 0]
    assert visits[-1].retrieved.complete
    place.as_the_meter()
    # the last record of the session is read again by each visit, nothing else
    assert asked_twice(place.requests) <= len(visits)


def test_five_new_records_are_all_that_the_third_visit_adds(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    """A full retrieval, then five records more: 600 old, 5 new, 0 different."""
    place = hall(memory.map_text("window"), LogOptions.prefilled(RECORDS, 5.0))
    first = place.fetch()
    kept = first.document["records_new"]
    place.clock.advance(25.0)
    second = place.fetch()
    third = place.fetch()
    new = second.document["records_new"]
    assert kept >= RECORDS
    assert 5 <= new <= 7  # the visits themselves take seconds
    assert second.document["records_known"] == kept
    assert second.document["records_changed"] == third.document["records_changed"] == 0
    place.as_the_meter()
