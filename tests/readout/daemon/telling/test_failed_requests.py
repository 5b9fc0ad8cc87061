"""What the counter of failed requests gives the ledger, and when."""

from readout.bus.line.tally import Tally
from readout.daemon.telling.failed_requests import FailedRequests
from simulators.clock import FakeClock

DAY_S = 86_400.0


def test_only_points_that_had_any_are_told_and_once_a_day_all() -> None:
    """Three sealings: one with a fault, one without, one a day later; and what is left at the end."""
    clock = FakeClock()
    failed = FailedRequests(clock.monotonic)
    assert failed.event() is None
    failed.note("header", Tally(60, {"bad checksum": 2}))
    failed.note("packing", Tally(60))
    failed.note("header", Tally(2, {"bad checksum": 1, "no reply": 1}))
    failed.cost("header", "no reply")
    assert failed.event() == {
        "what": "failed requests",
        "points": {
            "header": {
                "requests": 62, "failed": {"bad checksum": 3, "no reply": 1}, "rows": {"no reply": 1},
            }
        },
    }  # fmt: skip
    failed.note("packing", Tally(60))
    assert failed.event() is None
    clock.advance(DAY_S)
    failed.note("header", Tally(60))
    assert failed.event() == {
        "what": "failed requests",
        "points": {"header": {"requests": 60}, "packing": {"requests": 120}},
    }
    assert failed.untold() == {}
    failed.note("packing", Tally(7))
    assert failed.untold() == {"packing": 7}
