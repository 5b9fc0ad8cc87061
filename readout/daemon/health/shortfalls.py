"""What falls short of a recording that can be left alone, as sentences for a person and a monitor."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime

from readout.daemon.health.health import DAY_MS, HOUR_MS, Health, PointHealth
from readout.daemon.health.meter_memory import MeterMemory
from readout.daemon.telling.happenings import LARGE_LOG_BYTES
from storage.ledger import LEDGER

#: Seconds until the disk is full from which on that is told: time to come by.
FULL_SOON_S = 7 * 86_400.0
#: Of a point that was taken out: on purpose it falls short of nothing, by mistake somebody must hear of it.
NOT_ASKED = "no longer recorded: the recorder that runs was not asked for it"


def shortfalls(found: Health, least: float, now_ms: int) -> list[str]:
    """What falls short, as sentences; `least` is the share of the last hour that must be covered, 0 to 1."""
    told = [] if found.running else ["no recorder is running: `pipeledger log` starts one"]
    for name, point in found.points.items():
        told += [f"{name}: {sentence}" for sentence in _of_point(point, found, least, now_ms)]
    if found.room.is_low:
        told.append(f"{found.room.free >> 20} MB are free on the disk, {found.room.percent} %: make room")
    elif found.full_in_s is not None and found.full_in_s < FULL_SOON_S:
        told.append(f"the disk will be full in {found.full_in_s * 1000 / DAY_MS:.1f} days: make room")
    if found.log_bytes > LARGE_LOG_BYTES:
        told.append(
            f"the journal's log has {found.log_bytes >> 20} MB: some program has been reading the journal "
            "since long ago; end it"
        )
    return told + [f"{LEDGER}: {fault}" for fault in found.ledger_faults]


def _of_point(point: PointHealth, found: Health, least: float, now_ms: int) -> Iterator[str]:
    if point.memory is not None and point.memory.is_near(now_ms):
        yield _memory(point.memory, now_ms)
    if not point.is_timed:
        yield _untimed(found)
        return
    if not point.is_asked:
        if point.age_ms is not None and point.age_ms < DAY_MS:
            yield f"{NOT_ASKED} (told for a day)"
        return
    if point.last_ms is None:
        yield "no row yet"
        return
    if found.running and point.is_overdue:
        yield f"no row for {(point.age_ms or 0) / 1000:.0f} s although the recorder runs"
    if point.other_meter is not None:
        yield str(point.other_meter)
    if point.shares.hour < least:
        young = now_ms - (point.first_ms or 0)
        since = f" (its first row is {young / 60_000:.1f} min old)" if young < HOUR_MS else ""
        share = f"{point.shares.hour:.1%} of the last hour is covered{since}, less than {least:.0%}"
        yield f"{share}{_mostly(point.missing_hour)}"
    yield from (str(growth) for growth in point.requests.growing if growth.rows)


def _untimed(found: Health) -> str:
    if found.running:
        return "this computer's clock is not set, so rows have no time yet"
    return (
        "this computer's clock was not set, so the last rows have no time: once it is set, `pipeledger "
        "archive seal` gives them theirs where that can be known"
    )


def _mostly(missing: Mapping[str, int]) -> str:
    return f"; mostly: {max(missing, key=lambda cause: missing[cause])}" if missing else ""


def _memory(memory: MeterMemory, now_ms: int) -> str:
    assert memory.until_ms is not None
    when = f"{datetime.fromtimestamp(memory.until_ms / 1000, UTC):%Y-%m-%dT%H:%MZ}"
    passed = memory.until_ms <= now_ms
    if memory.is_ring:
        what = "may have overwritten" if passed else "will overwrite"
        then = f"{what} records that were never fetched, from {when} on: `pipeledger memory fetch`"
    else:
        what = "may have been full since" if passed else "will be full at"
        then = f"{what} {when} and records nothing then: `pipeledger memory fetch`, then `memory erase`"
    return f"the meter's memory {then}"
