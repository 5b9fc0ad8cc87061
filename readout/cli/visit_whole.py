"""A whole visit around its steps: begun or gone on with, its end in the ledger, told or as JSON."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from readout.cli.output import say, tell, tell_json
from readout.errors import FellShort

if TYPE_CHECKING:
    from readout.cli.visit_steps import AtPipe
    from readout.clock import Clock
    from readout.daemon.points import PointToRecord
    from readout.visit.answers import Answers, Key, Visit
    from readout.visit.kept import Standing
    from readout.visit.verdict import Check
    from storage.logbook.entering import Entered


@dataclass(frozen=True)
class Wanted:
    """Which visit, where, with which answers. `needed` are those that it cannot do without, `other` the steps
    of the other visit, whose answers may be in the same file."""

    visit: "Visit"
    point: Path
    archive: Path
    options: tuple[str, ...]
    answers: Path | None
    trace: Path | None
    needed: "tuple[Key, ...]"
    other: tuple[str, ...]


def whole(
    wanted: Wanted, steps: tuple[str, ...], act: "Callable[[AtPipe], None]", *, anew: bool, as_json: bool
) -> int:
    """Run the visit to its end, or to the step that stops it; the exit status."""
    from readout.cli.at_meter import ready_archive
    from readout.cli.visit_run import Run, Stopped, read_answers
    from readout.cli.visit_steps import AtPipe
    from readout.clock import SystemClock
    from readout.daemon.points import load_points
    from readout.visit.answers import Visit, answers_of
    from readout.visit.kept import VisitFile

    (loaded,) = load_points([wanted.point], None)
    checks = {wanted.visit: steps, (Visit.END if wanted.visit is Visit.START else Visit.START): wanted.other}
    answers = answers_of(
        wanted.visit, wanted.options, read_answers(wanted.answers), str(wanted.answers), checks
    )
    ready_archive(wanted.archive)
    file, clock = VisitFile(wanted.archive, loaded.name), SystemClock()
    begun = None if anew else file.load()
    if begun is None and not anew and (ended := _ended(wanted, loaded.name)) is not None:
        return _told_again(ended, as_json=as_json)
    standing = _begun(wanted, loaded, begun, clock)
    _refuse_lacking(wanted, answers, standing)
    run = Run(standing, file, answers, clock, steps)
    at = AtPipe(wanted.point, wanted.archive, loaded, run, wanted.trace)
    say(f"visit {wanted.visit}: {loaded.name} at {loaded.point.site.name}")
    try:
        act(at)
        stopped: Check | None = None
    except Stopped:
        stopped = run.last
    return _end(wanted, at, stopped, as_json=as_json)


def _ended(wanted: Wanted, point: str) -> Mapping[str, Any] | None:
    """The record of the last visit, where it was this one and ended well."""
    from readout.visit.kept import last_go

    found = last_go(wanted.archive, point)
    return found if found is not None and found["kind"] == wanted.visit else None


def _told_again(record: Mapping[str, Any], *, as_json: bool) -> int:
    """A visit that has ended well is not made twice."""
    say(
        f"visit {record['kind']}: ended in go at {record['ended']}; nothing is done twice "
        "(--anew begins again)"
    )
    if as_json:
        tell_json(record)
    else:
        for line in record["leave"]:
            tell(line)
    return 0


def _begun(wanted: Wanted, loaded: "PointToRecord", begun: "Standing | None", clock: "Clock") -> "Standing":
    """The visit that was begun, where it is this one with these files; else a new one."""
    from readout.clock import iso
    from readout.visit.kept import digest_of, new_standing

    files = digest_of(loaded.point.text, loaded.point.job_text, loaded.map.text)
    if begun is not None and begun.visit == wanted.visit:
        if begun.files == files:
            say(f"visit {wanted.visit}: goes on; begun at {begun.started}")
            return begun
        say(f"visit {wanted.visit}: point, job or map were changed since {begun.started}: it begins anew")
    return new_standing(wanted.visit, loaded.name, files, iso(clock.utc()))


def _refuse_lacking(wanted: Wanted, answers: "Answers", standing: "Standing") -> None:
    """Without a terminal: all answers that are needed in any case, at once."""
    import sys

    from readout.visit.answers import Key, LackingAnswer, lacking

    if sys.stdin.isatty():
        return
    steps = {Key.CAUTIONS: "cautions", Key.RETURN: "room", Key.REMOVAL: "removal"}
    done = {name for name, step in standing.steps.items() if step["verdict"] == "go"}
    lacks = lacking(answers, [key for key in wanted.needed if steps[key] not in done])
    if lacks:
        raise LackingAnswer("\n".join(lacks))


def _end(wanted: Wanted, at: "AtPipe", stopped: "Check | None", *, as_json: bool) -> int:
    """The record into the ledger, once; then what a person or a program is told."""
    record = {**_record(wanted, at, stopped), "leave": [] if stopped else _leave(wanted, at)}
    entered = _kept(wanted, at, record)
    line = entered.line
    ledger = None if line is None else {"n": line.n, "hash": line.hash, "time": line.time}
    if stopped is None and line is not None:
        at.run.file.remove()
    if as_json:
        tell_json({**record, "ledger": ledger})
    else:
        tell()
        tell(_heading(wanted, stopped))
        for text in record["leave"]:
            tell(text)
    if ledger is None:
        say(f"{wanted.archive}: the recorder has not taken the record in yet; run this again")
        return FellShort.status
    say(f"{wanted.archive}: line {ledger['n']} of the ledger, hash {ledger['hash']}")
    return 0 if stopped is None else stopped.status


def _heading(wanted: Wanted, stopped: "Check | None") -> str:
    from readout.visit.answers import Visit
    from readout.visit.verdict import Verdict

    if stopped is not None:
        undecided = " (to be decided)" if stopped.verdict is Verdict.TO_DECIDE else ""
        return f"NO-GO{undecided}. Run the same command again: it goes on from here."
    return "GO" if wanted.visit is Visit.START else "SAFE TO DISMOUNT, as far as this program can tell"


def _record(wanted: Wanted, at: "AtPipe", stopped: "Check | None") -> dict[str, Any]:
    """The visit as one document."""
    from readout.clock import iso

    run = at.run
    passed = run.names[: run.names.index(run.reached) + 1]
    checks = [{"check": name, **run.standing.steps[name]} for name in passed]
    return {
        "id": run.standing.id,
        "kind": wanted.visit.value,
        "point": at.point.name,
        "serial_number": at.serial,
        "started": run.standing.started,
        "ended": iso(run.clock.utc()),
        "verdict": "go" if stopped is None else "no-go",
        "checks": checks,
    }


def _kept(wanted: Wanted, at: "AtPipe", record: Mapping[str, Any]) -> "Entered":
    """A note whose `visit` is the record; not again where the same visit came to the same before."""
    from readout.visit.kept import keep_once

    last = record["checks"][-1]
    why = "" if record["verdict"] == "go" else f": {last['check']}: {last['reason']}"
    text = f"visit {wanted.visit}: {record['verdict']}{why}"
    identity = {"id": record["id"], "verdict": record["verdict"], "why": why}
    content = {"point": at.point.name, "text": text, "at": record["ended"], "visit": {**record, **identity}}
    return keep_once(wanted.archive, content, identity)


def _leave(wanted: Wanted, at: "AtPipe") -> list[str]:
    """The tag, or what is where."""
    from readout.cli.visit_end import handed_over
    from readout.visit.answers import Visit

    return _tag(at) if wanted.visit is Visit.START else handed_over(at)


def _tag(at: "AtPipe") -> list[str]:
    from datetime import datetime
    from platform import node
    from zoneinfo import ZoneInfo

    from readout.visit.tag import tag

    point = at.point.point
    zone = ZoneInfo(point.site.time_zone)
    until = datetime.fromtimestamp(at.run.found("room")["until_ms"] / 1000, zone)
    return tag(
        point.name, at.serial, f"{until:%Y-%m-%d %H:%M} ({zone})", point.site.name, point.order,
        recorder=None if at.point.map.log_memory is not None else node() or "a computer",
    )  # fmt: skip
