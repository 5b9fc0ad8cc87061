"""SIGHUP while the disk takes no rows: what memory holds must not be ended with the run."""

from pathlib import Path
from threading import Event

from readout.daemon.recorder import Assignment, Summary
from readout.daemon.service.reload import Runs


def test_changed_point_files_wait_for_a_disk_that_takes_no_rows() -> None:
    """The run goes on, and ends for the next one as soon as rows are taken; both are said."""
    said: list[str] = []
    seen: list[tuple[str, bool]] = []
    runs = Runs(Assignment(Path("hollow-mere"), (), None, 3_600_000), lambda: (), said.append)

    def record(_: Assignment, stop: Event) -> Summary:
        if not seen:
            runs.look(Summary(refused=True))
            runs.reload()
            runs.look(Summary(refused=True))
            seen.append(("full", stop.is_set()))
            runs.look(Summary(refused=False))
            seen.append(("room", stop.is_set()))
        else:
            seen.append(("next run", stop.is_set()))
        return Summary()

    runs.run(record)
    assert seen == [("full", False), ("room", True), ("next run", False)]
    assert said[0] == "the disk takes no rows: the changed point files are taken up once it does"
    assert said[1].startswith("going on with what the point files say now")


def test_where_the_disk_takes_rows_they_are_taken_up_at_once() -> None:
    """Nothing to wait for."""
    stopped: list[bool] = []
    runs = Runs(Assignment(Path("hollow-mere"), (), None, 3_600_000), lambda: (), lambda _: None)

    def record(_: Assignment, stop: Event) -> Summary:
        if not stopped:
            runs.reload()
        stopped.append(stop.is_set())
        return Summary()

    runs.run(record)
    assert stopped == [True, False]
