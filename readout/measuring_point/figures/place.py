"""The place where a meter is fitted: point, map, bore, probe and runs, with all that is wrong with them.

A fault keeps the point from being used; a warning is what a careful technician would want to know first.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from protocols.register_map.faults import Fault, Report
from protocols.register_map.model import RegisterMap
from readout.errors import WrongUse
from readout.measuring_point import grammar as k
from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.installation.insertion import Insertion, insertion_of
from readout.measuring_point.installation.runs import Run, inlet_run, outlet_run
from readout.measuring_point.load import load_map_of
from readout.measuring_point.model import Conditions, MeasuringPoint, Pipe
from readout.measuring_point.pipe.bore import Bore, bore_of
from readout.measuring_point.pipe.own_table import read_table
from readout.measuring_point.pipe.standards import PipeSize, flow_error_percent, split_standard
from readout.measuring_point.point import Files, read_file, read_point


@dataclass(frozen=True, slots=True)
class Place:
    """What is known of a place.

    `map` is None where the register map has faults; `bore` and what follows from it where the file says
    nothing of the pipe.
    """

    point: MeasuringPoint
    map: RegisterMap | None
    bore: Bore | None
    insertion: Insertion | None
    inlet: Run | None
    outlet: Run | None

    @property
    def fluid(self) -> str | None:
        """See `fluid_said`."""
        return fluid_said(self.point.conditions, self.map)


def fluid_said(conditions: Conditions | None, register_map: RegisterMap | None) -> str | None:
    """The fluid in a pipe by the words of point files; None where neither file says one we know."""
    said = None if conditions is None else conditions.fluid
    if said is not None:
        return said
    mapped = "" if register_map is None or register_map.fluid is None else register_map.fluid.lower()
    return next((word for word in k.FLUIDS if word != "other" and word in mapped.split()), _two_words(mapped))


def _two_words(mapped: str) -> str | None:
    return next((word for word in k.FLUIDS if " " in word and word in mapped), None)


@dataclass(frozen=True, slots=True)
class Found:
    """The place, or None where its file has a fault; every fault and warning, file by file."""

    place: Place | None
    faults: tuple[Fault, ...]


def find_place(path: Path) -> Found:
    """The place that the point file `path` describes."""
    files, point = read_point(path)
    found_map, map_faults = load_map_of(files)
    own, table_report = _own_table(files, point)
    place = None
    if point is not None and not files.own.faulty:
        place = _place(point, found_map, own, files)
    reports = (*files.reports, *(() if table_report is None else (table_report,)))
    usable = place if not any(report.faulty for report in reports) else None
    return Found(usable, tuple(fault for report in reports for fault in report.faults()) + map_faults)


def _own_table(
    files: Files, point: MeasuringPoint | None
) -> tuple[dict[int, PipeSize] | None, Report | None]:
    """The user's own list of pipes; a size that it lacks is told at `standard`."""
    pipe = None if files.entries is None else files.entries.get(k.PIPE)
    name = None if pipe is None else pipe.get(k.TABLE)
    standard = None if pipe is None else pipe.get(k.STANDARD)
    parts = None if standard is None else split_standard(standard)
    if pipe is None or name is None or parts is None or point is None:
        return None, None
    path = files.path.parent / name
    data = read_file(path, files.own, pipe.at(k.TABLE))
    if data is None:
        return None, None
    report = Report(str(path))
    sizes = read_table(data, parts[0], report)
    if not report.faulty and parts[1] not in sizes:
        there = ", ".join(f"DN {dn}" for dn in sorted(sizes)) or "no pipe"
        files.own.fault(pipe.at(k.STANDARD), f"{path} has no DN {parts[1]}; it has {there}")
    return sizes, report


def _place(
    point: MeasuringPoint, found: RegisterMap | None, own: dict[int, PipeSize] | None, files: Files
) -> Place:
    pipe = point.pipe
    if pipe is None:
        return Place(point, found, None, None, None, None)
    try:
        bore = bore_of(pipe, point.uncertainty.get("inside_diameter"), own)
    except WrongUse:  # told at its place by the reading of the list
        return Place(point, found, None, None, None, None)
    insertion = None if pipe.probe is None else insertion_of(pipe.probe, bore)
    position = None if insertion is None else insertion.position
    inlet = None if pipe.inlet_run is None else inlet_run(pipe.inlet_run, bore.inside_mm, position)
    outlet = None if pipe.outlet_run is None else outlet_run(pipe.outlet_run, bore.inside_mm)
    place = Place(point, found, bore, insertion, inlet, outlet)
    for key, text in _doubts(place, pipe):
        _warn(files, key, text)
    return place


def _warn(files: Files, key: str, text: str) -> None:
    """A warning at a key of the pipe, or of its mappings."""
    pipe = None if files.entries is None else files.entries.get(k.PIPE)
    if pipe is None:
        return
    files.own.warn(pipe.nodes.get(key, pipe.node), text)


def _doubts(place: Place, pipe: Pipe) -> Iterator[tuple[str, str]]:
    """What to know before the hole is drilled: key of the pipe, and sentence."""
    bore, insertion = place.bore, place.insertion
    if bore is None:
        return
    if pipe.diameter_set_in_meter is not None:
        percent = flow_error_percent(millimetres(pipe.diameter_set_in_meter), bore.inside_mm)
        if abs(percent) >= 0.1:
            yield (
                "diameter_set_in_meter",
                f"the meter computes with {pipe.diameter_set_in_meter}, the pipe has "
                f"{bore.inside_mm:.2f} mm: it reads {abs(percent):.1f} % {'high' if percent > 0 else 'low'}",
            )
    if insertion is not None:
        for problem in insertion.problems:
            yield "probe", problem
        if insertion.is_moved:
            yield (
                "probe",
                f"the sensor stands at the {insertion.position} and the meter was calibrated for the "
                f"{insertion.calibrated_for}: its flow has to be corrected for that, once",
            )
    for name, run in (("inlet_run", place.inlet), ("outlet_run", place.outlet)):
        if run is not None and not run.is_enough:
            yield (
                name,
                f"{run.diameters:.1f} inside diameters of straight pipe, and {run.asked:g} are asked for "
                f"({run.basis}): {run.missing_mm / 1000:.2f} m are missing",
            )
