"""`line test`: many reads of one point's meter, and what is wrong with its line."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.options import AsJson, TraceFile, milliseconds
from readout.cli.output import say, tell, tell_json
from readout.cli.progress import counting

if TYPE_CHECKING:
    from collections.abc import Sequence

    from readout.daemon.points import PointToRecord
    from readout.diagnose.computer import Finding
    from readout.diagnose.trial import Query, Trial


def line_test(
    point: Annotated[Path, typer.Argument(metavar="POINT", help="The point file (YAML).")],
    *,
    reads: Annotated[int, typer.Option(min=1, metavar="N", help="How many reads.")] = 100,
    seconds: Annotated[
        str | None, typer.Option("--for", metavar="DURATION", help="Read for so long instead of N reads.")
    ] = None,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Read a meter many times and tell what its line does wrong and what to try.

    Nothing is written. Exit status 0 for a clean line, 1 where reads failed, 3 where the port is not to be
    had, 4 where replies came and none could be trusted.
    """
    from readout.bus.platform import is_pseudo_terminal
    from readout.bus.trace import Trace
    from readout.clock import SystemClock
    from readout.daemon.connect import connector
    from readout.daemon.points import load_points
    from readout.diagnose.computer import findings, held_by_other
    from readout.diagnose.trial import Prober

    until = None if seconds is None else milliseconds(seconds, "--for") / 1000
    (loaded,) = load_points([point], None)
    found = list(findings(loaded.port))
    clock = SystemClock()
    kept = Trace(trace, clock) if trace else None
    try:
        line = connector(clock, kept)([loaded])
        queries = _queries(loaded)
        longest = until or reads * sum(read.seconds for read in loaded.polled.plan.reads) / len(queries)
        say(f"reading unit {loaded.unit_address} on {loaded.port} at {loaded.format}")
        try:
            with counting("reading", reads, longest) as tell_progress:
                prober = Prober(line, loaded.format, clock, lambda done: tell_progress(done, f"{done} reads"))
                trial = prober.run(queries, reads, until)
        finally:
            line.close()
    finally:
        if kept:
            kept.close()
    other = held_by_other(loaded.port)
    # The other end of a pseudo-terminal has it open too: the simulated meter's program is no thief.
    if other is not None and (trial.bytes_missing or not is_pseudo_terminal(loaded.port)):
        found.append(other)
    if as_json:
        tell_json(_document(loaded, trial, found))
    else:
        _print(loaded, trial, found)
    return _status(trial)


def _queries(loaded: "PointToRecord") -> "list[Query]":
    from dataclasses import replace

    from readout.diagnose.trial import Query

    manners = loaded.polled.manners
    return [
        Query(loaded.unit_address, read.request, replace(manners, words_per_address=read.block.words))
        for read in loaded.polled.plan.reads
    ]


def _status(trial: "Trial") -> int:
    from readout.bus.outcome import Status

    if trial.lost:
        return 3
    untrusted = trial.statuses[Status.DAMAGED_REPLY] + trial.statuses[Status.WRONG_REPLY]
    if not trial.good and untrusted:
        return 4
    return 0 if trial.clean else 1


def _print(loaded: "PointToRecord", trial: "Trial", found: "Sequence[Finding]") -> None:
    from readout.bus.outcome import Status

    late = f", {trial.late} of them late" if trial.late else ""
    tell(f"{trial.good} of {trial.reads} reads answered{late}")
    refused = trial.statuses[Status.EXCEPTION]
    if refused:
        tell(f"{refused} answers were exceptions: the line is good, the map asks for what the meter has not")
    for symptom in trial.worst:
        tell(f"{trial.symptoms[symptom.kind]} × {symptom.kind}: " + "\n  ".join(symptom.lines))
    if trial.strays:
        tell(f"{trial.strays} bytes came while nobody was asked: another master, or noise")
    if trial.alternates:
        tell("good and missing replies alternate: the meter is not ready for the next request (see `pause`)")
    if trial.times is not None:
        times = trial.times
        tell(
            f"reply after {times.shortest * 1000:.0f} ms at least, {times.median * 1000:.0f} ms mostly, "
            f"{times.p99 * 1000:.0f} ms in 99 of 100, {times.longest * 1000:.0f} ms at most"
        )
    for proposal in trial.proposals:
        tell(f"in {loaded.map_file.name}: `wire: {{{proposal.key}: {proposal.seconds:g} s}}`; {proposal.why}")
    if trial.alternates and not trial.proposals:
        tell("no pause up to 0.5 s helped: see the cable and the meter's supply")
    for finding in found:
        tell(f"{finding.about}: {finding.sentence}\n  Try: {finding.remedy}")
    if trial.lost:
        say(trial.lost)


def _document(loaded: "PointToRecord", trial: "Trial", found: "Sequence[Finding]") -> dict[str, Any]:
    times = trial.times
    return {
        "point": loaded.name,
        "port": loaded.port,
        "line": str(loaded.format),
        "unit_address": loaded.unit_address,
        "reads": trial.reads,
        "answered": trial.good,
        "late": trial.late,
        "stray_bytes": trial.strays,
        "statuses": {status.value: count for status, count in trial.statuses.items()},
        "faults": [
            {
                "kind": symptom.kind.value,
                "times": trial.symptoms[symptom.kind],
                "sentence": symptom.sentence,
                "received": symptom.hex,
                "try": list(symptom.advice),
            }
            for symptom in trial.worst
        ],
        "alternates": trial.alternates,
        "reply_ms": None
        if times is None
        else {
            "min": round(times.shortest * 1000, 1),
            "median": round(times.median * 1000, 1),
            "p99": round(times.p99 * 1000, 1),
            "max": round(times.longest * 1000, 1),
        },
        "wire": [{"key": p.key, "seconds": p.seconds, "why": p.why} for p in trial.proposals],
        "computer": [
            {"about": finding.about.value, "sentence": finding.sentence, "try": finding.remedy}
            for finding in found
        ],
        "lost": trial.lost or None,
    }
