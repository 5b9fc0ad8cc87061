"""Both visits where the map describes no memory: `log` is the recording, and has the line meanwhile."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from typer.testing import Result

from readout.clock import SystemClock
from readout.daemon.connect import connector
from readout.daemon.points import load_points
from readout.daemon.recorder import Assignment, Recorder
from readout.visit.answers import LackingAnswer

END = {"cautions": "yes", "removal": "yes"}


@pytest.fixture
def site(site: Any) -> Any:
    """The same hall, its meter without memory and settings; rows come ten times a second."""
    readings, _, rest = site.text.partition("settings:")
    site.text = readings + next(line for line in rest.splitlines() if line.startswith("identity:")) + "\n"
    (site.folder / "map.yaml").write_text(site.text, encoding="utf-8")
    point = site.folder / "header.yaml"
    text = point.read_text(encoding="utf-8").replace(", expected_flow: 1 m3/h to 600 m3/h", "")
    point.write_text(f"{text}record: {{every: 100 ms}}\n", encoding="utf-8")
    return site


@contextmanager
def recording(site: Any) -> Iterator[None]:
    """What `log` does, until the block ends; the block begins with its first row kept."""
    stop, began, clock = threading.Event(), threading.Event(), SystemClock()
    points = load_points([site.folder / "header.yaml"], None)
    assignment = Assignment(site.archive, points, None, 3_600_000)
    recorder = Recorder(
        assignment, connector(clock, None), clock, lambda _: None, observe=lambda _: began.set(), look_s=0.01
    )
    thread = threading.Thread(target=recorder.run, args=(stop,))
    thread.start()
    try:
        assert began.wait(60), "rows come"
        yield
    finally:
        stop.set()
        thread.join(10)


def last(done: Result) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(done.stdout)["checks"][-1]
    return found


def started(site: Any, display: str, **changed: str) -> Result:
    return site.run("start", "--json", **{"display": display, "return": site.soon(), **changed})  # type: ignore[no-any-return]


def ended(site: Any, **changed: str) -> Result:
    return site.run("end", "--json", **{**END, **changed})  # type: ignore[no-any-return]


def test_no_tag_before_log_runs_and_not_safe_before_it_has_ended(site: Any) -> None:
    """The whole way: NO-GO with the command to run, GO beside it, stop it, safe to dismount."""
    with site.line(past=0):
        display = site.shown()
        done = started(site, display)
        found = last(done)
        assert (found["check"], found["verdict"], done.exit_code) == ("recording", "no-go", 1), found
        assert "nothing records this point" in found["reason"]
        command = f"pipeledger log {site.folder / 'header.yaml'} --archive {site.archive} --every 0.1s"
        assert command in found["advice"]
        assert json.loads(done.stdout)["leave"] == [], "no tag"

        with recording(site):
            done = started(site, display)
            assert done.exit_code == 0, done.output
            record = json.loads(done.stdout)
            steps = {one["check"]: one for one in record["checks"]}
            assert "is in use: the recorder of hollow-mere" in steps["port"]["reason"]
            assert "rows ok" in steps["recording"]["reason"]
            assert record["serial_number"] == "EX-0042"
            assert any("METER OR COMPUTER" in line for line in record["leave"])

            done = ended(site, display=display)
            found = last(done)
            assert (found["check"], found["verdict"], done.exit_code) == ("port", "no-go", 3), found
            assert "the visit has still to read the meter for" in found["reason"]
            assert "Ctrl-C" in found["advice"]

        done = ended(site, display=display)
        assert done.exit_code == 0, done.output
        record = json.loads(done.stdout)
        steps = {one["check"]: one for one in record["checks"]}
        assert steps["archive"]["found"]["rows"] > 0
        assert "rows since the visit's start" in steps["archive"]["reason"]
        assert not any("memory erase" in line for line in record["leave"])


def test_nothing_recorded_is_not_safe_to_dismount(site: Any) -> None:
    with site.line(past=0):
        done = ended(site, display=site.shown())
    found = last(done)
    assert (found["check"], found["verdict"], done.exit_code) == ("archive", "no-go", 1), found
    assert found["reason"].startswith("nothing was recorded: no row of this point")


def test_what_was_accepted_stays_accepted_while_the_reason_is_the_same(site: Any) -> None:
    """`meter` is looked at anew each time; another reason would have to be accepted anew."""
    site.point(meter="")
    with site.line(past=0):
        found = last(started(site, ""))
        assert (found["check"], found["verdict"]) == ("meter", "to be decided")
        for accepted in ({"accept__meter": "seen on its plate"}, {}):
            done = started(site, "", **accepted)
            assert isinstance(done.exception, LackingAnswer), done.output
            assert "the answer display lacks" in str(done.exception)
