"""`log`: record points into an archive until stopped: one row for every scheduled round, whatever happens."""

from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.options import AsJson, PointFiles, TraceFile, duration_words, milliseconds
from readout.cli.output import counted, say, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from threading import Event

    from readout.bus.trace import Trace
    from readout.clock import Clock, WaitingClock
    from readout.daemon.awake.awake import Awake
    from readout.daemon.outlet.outlet import Outlet
    from readout.daemon.points import PointToRecord
    from readout.daemon.recorder import Assignment, Summary
    from readout.daemon.service.notify import ServiceManager
    from readout.daemon.service.on_change import OnChange
    from readout.daemon.service.reload import Runs
    from storage.journal import Row


@dataclass(frozen=True, slots=True)
class Watchers:
    """Who is told how the recording goes: the service manager, a command for changes, what shows; and what
    keeps the computer awake meanwhile."""

    manager: "ServiceManager"
    on_change: str | None
    outside_ms: int
    outlet: "Outlet | None"
    awake: "Awake | None"


def log(
    points: PointFiles,
    *,
    archive: Annotated[
        Path, typer.Option(metavar="DIR", help="The archive's folder; made where it is absent.")
    ],
    every: Annotated[
        str | None,
        typer.Option(metavar="DURATION", help="Interval, if not the point file's own (100ms to days)."),
    ] = None,
    run_for: Annotated[
        str | None,
        typer.Option("--for", metavar="DURATION", help="End after this time; else run until stopped."),
    ] = None,
    seal_every: Annotated[
        str, typer.Option(metavar="DURATION", help="How often rows become sealed files.")
    ] = "1h",
    on_change: Annotated[
        str | None,
        typer.Option(
            "--on-change",
            metavar="COMMAND",
            help="Run this when a point falls silent, when a reading stays outside its range, and after.",
        ),
    ] = None,
    outside_for: Annotated[
        str,
        typer.Option(metavar="DURATION", help="How long outside its range is told to --on-change."),
    ] = "1min",
    page: Annotated[
        str | None,
        typer.Option(
            metavar="HOST:PORT", help="Show a live page there, such as 127.0.0.1:8808; with /metrics."
        ),
    ] = None,
    page_token: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="The token that opens the page; others can reach it only with one."
        ),
    ] = None,
    mqtt: Annotated[
        str | None,
        typer.Option(
            metavar="URL", help="Publish each kept row to this broker, such as mqtt://localhost; mqtts: TLS."
        ),
    ] = None,
    mqtt_login: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="User, password and certificates for the broker."),
    ] = None,
    let_sleep: Annotated[
        bool, typer.Option("--let-sleep", help="Do not keep this computer from going to sleep.")
    ] = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Record until Ctrl-C, SIGTERM or the end of --for; then seal everything and end with status 0.

    Due times are whole multiples of the interval in UTC. Each due time gives one row: its status says ok,
    or why there is no reading. A port that is absent is waited for. SIGHUP takes up changed point files.
    """
    from readout.bus.trace import Trace
    from readout.cli.decoded_otherwise import warn_of_another_map
    from readout.cli.log_outlet import Outlets, outlet
    from readout.clock import SystemClock
    from readout.daemon.computer_clock import unset_told
    from readout.daemon.points import LIVE, load_points
    from readout.daemon.recorder import Assignment
    from readout.daemon.service.notify import ServiceManager
    from readout.daemon.service.reload import Runs

    every_ms = milliseconds(every, "--every") if every else None
    assignment = Assignment(
        archive,
        _told_of_load(load_points(points, every_ms)),
        milliseconds(run_for, "--for") if run_for else None,
        sealing_interval(seal_every),
    )
    for point in assignment.points:
        if assignment.for_ms is not None and assignment.for_ms < point.every_ms:
            raise WrongUse(
                f"--for {duration_words(assignment.for_ms)} is shorter than the interval of {point.name}, "
                f"{duration_words(point.every_ms)}: no round would be due."
            )
    outside_ms = milliseconds(outside_for, "--outside-for")
    warn_of_another_map(archive, assignment.points, LIVE)
    clock = SystemClock()
    if (told := unset_told(clock.utc())) is not None:
        say(told)
    shown = outlet(archive, clock, Outlets(page, page_token, mqtt, mqtt_login))
    manager = ServiceManager(clock)
    runs = Runs(assignment, lambda: _told_of_load(load_points(points, every_ms)), say)
    _heed_signals(runs, manager)
    kept = Trace(trace, clock) if trace else None
    try:
        with shown as beside, _awake(assignment.for_ms, clock, let_sleep=let_sleep) as awake:
            watchers = Watchers(manager, on_change, outside_ms, beside, awake)
            summary = runs.run(lambda now, stop: _record(now, clock, kept, watchers, runs.look, stop))
    finally:
        manager.stopping()
        if kept:
            kept.close()
    _tell(summary, archive, as_json=as_json)
    return 1 if summary.unsealed or summary.lost else 0


def sealing_interval(text: str) -> int:
    """The words of --seal-every as whole milliseconds; WrongUse where they are none, or too few."""
    from readout.plan.schedule import SHORTEST_MS

    interval_ms = milliseconds(text, "--seal-every")
    if interval_ms < SHORTEST_MS:
        raise WrongUse(f"--seal-every {text} is too short; the shortest is {SHORTEST_MS} ms")
    return interval_ms


def _told_of_load(points: "tuple[PointToRecord, ...]") -> "tuple[PointToRecord, ...]":
    """The same points, after a sentence for each line that they need more of than there is."""
    from readout.daemon.line_load import overloaded

    for sentence in overloaded(points):
        say(sentence)
    return points


def _awake(for_ms: int | None, clock: "Clock", *, let_sleep: bool) -> "AbstractContextManager[Awake | None]":
    """What keeps the computer awake meanwhile, where that is wanted and the recording is not a short one."""
    from readout.daemon.awake.awake import SHORT_MS, Awake
    from readout.daemon.awake.systems import this_system

    short = for_ms is not None and for_ms <= SHORT_MS
    return nullcontext() if let_sleep or short else Awake(this_system(), clock)


def _heed_signals(runs: "Runs", manager: "ServiceManager") -> None:
    """Ctrl-C and SIGTERM end the recording, SIGHUP (not on Windows) renews it."""
    import signal

    def end(*_: object) -> None:
        manager.stopping()
        runs.end()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, end)
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, lambda *_: runs.reload())


def _record(
    assignment: "Assignment",
    clock: "WaitingClock",
    trace: "Trace | None",
    watchers: Watchers,
    look: "Callable[[Summary], None]",
    stop: "Event",
) -> "Summary":
    """One run, watched by the person at the terminal, `look` and those of `watchers`."""
    from readout.cli.log_progress import progress
    from readout.daemon.connect import connector
    from readout.daemon.recorder import Recorder
    from readout.daemon.service.notify import Stalls

    manager, outlet, awake = watchers.manager, watchers.outlet, watchers.awake
    # Points that have had their rounds get no further rows.
    endless = assignment.points if assignment.for_ms is None else ()
    with progress(assignment) as (speak, show):
        stalls = Stalls({point.name: point.every_ms / 1000 for point in endless}, clock, speak)
        changes = _changes(watchers, assignment, clock, speak)

        def watch(summary: "Summary") -> None:
            show(summary)
            look(summary)
            stalls.look(summary.rows)
            manager.recording(summary.rows, stalls)
            if changes is not None:
                changes.look(summary.rows)
            if awake is not None:
                awake.look(speak)

        if outlet is not None:
            outlet.say = speak
            outlet.begin(assignment.points)
        takers = [beside.took for beside in (outlet, changes) if beside is not None]

        def observe(rows: "Sequence[Row]") -> None:
            for took in takers:
                took(rows)

        try:
            return Recorder(assignment, connector(clock, trace), clock, speak, watch, observe).run(stop)
        finally:
            if changes is not None:
                changes.close()


def _changes(
    watchers: Watchers, assignment: "Assignment", clock: "WaitingClock", speak: "Callable[[str], None]"
) -> "OnChange | None":
    if watchers.on_change is None:
        return None
    from readout.daemon.live.told import Decoder, plans_in
    from readout.daemon.service.on_change import OnChange
    from readout.daemon.service.outside import Outside

    decoder = Decoder(plans_in(assignment.archive))
    outside = Outside(assignment.points, decoder, watchers.outside_ms)
    return OnChange(watchers.on_change, assignment.archive, clock, speak, outside)


def _tell(summary: "Summary", archive: Path, *, as_json: bool) -> None:
    if as_json:
        tell_json(
            {
                "points": {name: dict(counts) for name, counts in summary.rows.items()},
                "files": summary.files,
                "unsealed": summary.unsealed,
                "lost": summary.lost,
                "ledger": {"n": summary.ledger_n, "hash": summary.ledger_hash},
            }
        )
        return
    for name, counts in summary.rows.items():
        told = ", ".join(f"{n} {status}" for status, n in counts.most_common())
        say(f"{name}: {counted(counts.total(), 'row')} ({told or 'no round was due'})")
        if counts["skipped"]:
            say(f"{name}: skipped: not asked, for it was silent, another meter answered or the line was busy")
    say(
        f"{archive}: {counted(len(summary.files), 'file')} sealed; "
        f"ledger line {summary.ledger_n}, hash {summary.ledger_hash}"
    )
