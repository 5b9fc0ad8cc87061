"""What differs, does not fit, comes twice or is damaged: told, never replaced, never filed wrongly."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from protocols.modbus.crc import with_crc
from readout.retrieve.retrieval import Verify
from simulators.log_memory import LogOptions

PLAIN = """\
  record:
    registers: 4
    fields:
      flow: {at: 0, type: uint16, scale: 0.1, unit: kg/h, not_available: [65535]}
      pressure: {at: 1, type: uint16, scale: 0.001, unit: bar, gauge: true}
      temperature: {at: 2, type: int16, scale: 0.1, unit: degC}
"""
STOPPED = LogOptions.prefilled(300, 5.0, recording=False)


def lying(reply: Callable[[bytes], bytes | None], record: int, times: int) -> Callable[[bytes], bytes | None]:
    """Another flow for one record in the first replies that hold it, under a checksum that fits.

    By registers (function 4): records of 4 registers from address 1000 on.
    """
    left = [times]

    def answer(frame: bytes) -> bytes | None:
        found = reply(frame)
        start, count = int.from_bytes(frame[2:4]), int.from_bytes(frame[4:6])
        place = 1000 + 4 * record - start
        if found is None or frame[1] != 4 or start < 1000 or not 0 <= place < count or not left[0]:
            return found
        left[0] -= 1
        data = bytearray(found[:-2])
        data[4 + 2 * place] ^= 1
        return with_crc(bytes(data))

    return answer


def test_a_value_read_wrongly_once_is_found_by_reading_all_again(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    """One window came with a wrong value and a right checksum: 1 in 65,536 of the damaged ones do."""
    place = hall(memory.map_text("registers", record=PLAIN), STOPPED)
    place.fetch(answer=lying(place.meter.reply, 100, 1))
    before = place.rows()
    assert place.fetch().retrieved.changed == []  # only the last record is read again
    visit = place.fetch(Verify.ALL)
    assert visit.document["records_reread"] == 300
    assert [one.record for one in visit.retrieved.changed] == [100]
    assert not visit.retrieved.complete
    assert place.rows() == before
    assert place.ledger()[-1]["changed"] == [[1, 100]]


def test_a_record_whose_check_does_not_fit_is_read_twice(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    """What fits the second time was the line's doing, and nobody need know."""
    place = hall(memory.map_text("registers"), STOPPED)
    visit = place.fetch(answer=lying(place.meter.reply, 100, 1))
    assert visit.retrieved.complete
    place.as_the_meter()


def test_a_record_that_never_fits_its_check_is_kept_and_told(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    place = hall(memory.map_text("registers"), STOPPED)
    visit = place.fetch(answer=lying(place.meter.reply, 100, 10**6))
    assert visit.retrieved.unfitting == [(1, 100)]
    assert visit.document["records_flagged"] == 1
    assert not visit.retrieved.complete
    assert [row for row, flag in enumerate(place.rows()["check_flag"]) if flag == "mismatch"] == [100]


def test_one_that_was_kept_damaged_and_reads_well_later_is_changed_and_stays(
    hall: Callable[..., Any], memory: SimpleNamespace
) -> None:
    place = hall(memory.map_text("registers"), STOPPED)
    place.fetch(answer=lying(place.meter.reply, 100, 10**6))
    before = place.rows()
    visit = place.fetch(Verify.ALL)
    assert [one.record for one in visit.retrieved.changed] == [100]
    assert place.rows() == before


WAYS = ("registers", "files", "window", "window by two requests", "queue")
#: Second replies at once and late, every kind of damage mixed.
FAULTS = ("(..d6)*", "(....d30)*", "random:8:share=0.3")
MORE_FAULTS = ("(...d)*", "(.....x9)*", "(...s)*", "(..c20)*", "(....v)*", "(...z2,5)*", "random:3:share=0.2")


def survives(place: Any, faults: str) -> None:
    """Fetched over that line until nothing is missing, then compared with the meter over a good one."""
    place.faults = "." * 8 + faults if faults[0] == "(" else faults
    for _ in range(6):
        if place.fetch().retrieved.complete:
            break
    place.faults = ""
    assert place.fetch(Verify.ALL).retrieved.changed == []
    place.as_the_meter()


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("faults", FAULTS)
def test_a_bad_line_costs_time_and_no_record(
    hall: Callable[..., Any], memory: SimpleNamespace, way: str, faults: str
) -> None:
    """No record is filed under another's number, though nothing in these tells which it is."""
    survives(
        hall(memory.map_text(way, record=PLAIN), LogOptions.prefilled(150, 5.0, recording=False)), faults
    )


@pytest.mark.long
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("faults", [*MORE_FAULTS, *(f"random:{seed}:share=0.25" for seed in range(20, 30))])
def test_any_bad_line_costs_time_and_no_record(
    hall: Callable[..., Any], memory: SimpleNamespace, way: str, faults: str
) -> None:
    survives(hall(memory.map_text(way, record=PLAIN), STOPPED), faults)
