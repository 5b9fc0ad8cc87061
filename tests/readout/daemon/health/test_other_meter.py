"""A meter that was exchanged is what an owner has to be told: all that its rows say is `skipped`."""

from typing import Any

import pytest

from readout.daemon.health.other_meter import other_meter
from storage.ledger import Kind, Line

Told = tuple[Kind, dict[str, Any]]

START: Told = (Kind.STARTED, {"points": {"header": {}, "branch": {}}})
OTHER: Told = (
    Kind.EVENT,
    {"what": "other meter", "point": "header", "expected": "EX-0042", "found": "EX-0043"},
)
BACK: Told = (Kind.EVENT, {"what": "meter back", "point": "header", "found": "EX-0042"})
BRANCH_ONLY: Told = (Kind.STARTED, {"points": {"branch": {}}})


def lines(*told: Told) -> list[Line]:
    return [
        Line(n, f"2026-05-05T00:00:0{n}.000Z", kind, "", "", content)
        for n, (kind, content) in enumerate(told, 1)
    ]


@pytest.mark.parametrize(
    ("told", "answers"),
    [
        ((START,), False),
        ((START, OTHER), True),
        ((START, OTHER, BACK), False),
        ((START, OTHER, BACK, OTHER), True),
        ((START, OTHER, START), False),  # its number is in the point file now
        ((START, OTHER, BRANCH_ONLY), True),  # the point is not recorded since: nothing is known anew
    ],
)
def test_the_last_recording_says_who_answers(told: tuple[Any, ...], answers: bool) -> None:
    assert (other_meter(lines(*told), "header") is not None) is answers
    assert other_meter(lines(*told), "branch") is None


def test_both_serial_numbers_and_the_way_out_are_told() -> None:
    told = str(other_meter(lines(START, OTHER), "header"))
    assert "since 2026-05-05T00:00:02.000Z: serial number EX-0043 instead of EX-0042" in told
    assert "SIGHUP" in told
