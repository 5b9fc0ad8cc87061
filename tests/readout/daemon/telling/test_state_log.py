"""What the person is told: changes of state and an hourly summary, never a line a row."""

from collections.abc import Iterable

import pytest

from readout.bus.outcome import Status
from readout.daemon.telling.state_log import StateLog

DAY_S = 86_400
#: A line for every half hour and a few for the change: what a day may cost a point whose fault lasts.
A_DAY = 60
#: And what an hour may cost one whose state changes all the time.
AN_HOUR = 5


def told(statuses: Iterable[Status], every_s: float = 1.0) -> list[str]:
    """What is said of one point's rows, one every `every_s` seconds."""
    said: list[str] = []
    log = StateLog(said.append)
    for n, status in enumerate(statuses):
        log.row("header", status, "unit 12 does not answer", 1000.0 + n * every_s)
    return said


def test_a_meter_silent_for_a_day_is_at_most_sixty_lines() -> None:
    """At a round a second: asked in the first three rounds, then once a minute."""
    rows = [Status.NO_REPLY if n < 3 or n % 60 == 0 else Status.SKIPPED for n in range(DAY_S)]
    said = told([Status.OK] * 10 + rows + [Status.OK])
    assert len(said) <= A_DAY
    assert said[0] == "header: no reply: unit 12 does not answer"
    assert said[-1] == f"header: answers again after {DAY_S} rounds without all values"
    assert sum("3600 rounds in the last hour" in line for line in said) >= 22


@pytest.mark.parametrize("good", [1, 5, 100])
def test_a_meter_that_comes_and_goes_all_day_is_at_most_five_lines_an_hour(good: int) -> None:
    """Three rounds silent, then some answered, and so on: each change told would be thousands of lines."""
    pattern = [Status.NO_REPLY] * 3 + [Status.OK] * good
    said = told((pattern * (DAY_S // len(pattern) + 1))[:DAY_S])
    assert 24 <= len(said) <= 24 * AN_HOUR
    assert sum("changes often" in line for line in said) <= 24
    missing = sum(int(line.split(": ")[2].split()[0]) for line in said if "in the last hour" in line)
    rounds = 23 * 3600
    assert missing == pytest.approx(rounds * 3 / len(pattern), rel=0.01), "the summaries count them all"


def test_single_missing_rounds_are_told_in_the_summary_only() -> None:
    said = told(([Status.OK] * 599 + [Status.DAMAGED_REPLY]) * 12)
    assert said == ["header: of 3601 rounds in the last hour: 6 damaged reply; the latest: ok"]


def test_a_port_that_was_away_for_one_round_is_told_in_good_english() -> None:
    """The line tells the loss, each point that it is back."""
    said = told([Status.OK, Status.PORT_LOST, Status.OK])
    assert said == ["header: answers again after 1 round without all values"]


def test_a_good_day_is_silent() -> None:
    assert told([Status.OK] * DAY_S) == []


def test_rounds_in_which_a_silent_meter_is_not_asked_count_as_silent() -> None:
    """Alone on its line and silent from the start it is asked twice, and then now and again."""
    silent = [Status.NO_REPLY, Status.SKIPPED, Status.SKIPPED]
    assert told(silent[:2]) == []
    assert told(silent) == ["header: no reply: unit 12 does not answer"]
    assert told([*silent, *silent]) == told(silent)
    assert told([Status.NO_REPLY, Status.SKIPPED, Status.OK, Status.OK]) == []
