"""Keys of a point file set to other values, checked as if the file said so, and the effect on the flow.

The correction of a diameter follows from flow = velocity × area: a meter that computed with the diameter
D0 told Q0; with the true D it is Q0 × (D/D0)². That holds where nothing else in the meter depends on the
diameter; a meter that corrects for profile or blockage by diameter is slightly off it.
"""

from collections.abc import Mapping as MappingOf
from collections.abc import Sequence
from dataclasses import dataclass, replace

from protocols.register_map.document import Mapping, Node, Pair, Scalar, compose
from protocols.register_map.faults import Fault, Report
from readout.errors import WrongUse
from readout.measuring_point import grammar as k
from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.model import MeasuringPoint, Pipe
from readout.measuring_point.pipe.bore import bore_of
from readout.measuring_point.point import Files, checked
from readout.sentence import Sentence, joined

#: What may be amended: what rows were understood with, not which meter or line they came from.
AMENDABLE = ("pipe", "conditions", "reference", "uncertainty", "site", "energy", "calendar", "role", "aim")


@dataclass(frozen=True, slots=True)
class Change:
    """One key of a point file, its parts in order, and its new value as written."""

    path: tuple[str, ...]
    value: str

    @property
    def name(self) -> str:
        """The key as it is written: `pipe.inside_diameter`."""
        return ".".join(self.path)


@dataclass(frozen=True, slots=True)
class Amended:
    """The point with the changes. `was`: what the file said of each key, or what a pipe's size followed from;
    None where nothing.

    `diameter`: what a changed diameter does to the flow, None where no diameter changes.
    """

    point: MeasuringPoint
    was: MappingOf[str, str | None]
    diameter: "DiameterChange | None"


@dataclass(frozen=True, slots=True)
class DiameterChange:
    """The bore before and now [mm], what the meter computes with [mm], and the factor to its flow."""

    before_mm: float
    now_mm: float
    meter_mm: float
    said_by: str  # where `meter_mm` comes from

    @property
    def factor(self) -> float:
        """(true / set in the meter)²: the meter's flow times this is the flow."""
        return (self.now_mm / self.meter_mm) ** 2

    @property
    def percent(self) -> float:
        """The correction of the flow [%]."""
        return 100 * (self.factor - 1)


#: Keys of the pipe that are about its bore, or about what the meter takes it for.
_DIAMETERS = {*k.PIPE_SIZES, k.SET_IN_METER.name}


def any_change(text: str) -> Change:
    """`KEY=VALUE`, the key's parts joined by points; WrongUse for anything else."""
    key, equals, value = text.partition("=")
    path = tuple(part.strip() for part in key.split("."))
    if not equals or not all(path) or not value.strip():
        raise WrongUse(f"--set {text}: write KEY=VALUE, such as pipe.inside_diameter=54.5mm")
    return Change(path, value.strip())


def change_of(text: str) -> Change:
    """As `any_change`, of a key that may be amended; WrongUse for others."""
    found = any_change(text)
    if found.path[0] not in AMENDABLE:
        raise WrongUse(
            f"--set {text}: '{found.path[0]}' is not amended, only {', '.join(AMENDABLE)}; another meter, "
            "map or line is another installation: write it into the point file before recording"
        )
    return found


def amended(files: Files, point: MeasuringPoint, changes: Sequence[Change]) -> Amended:
    """The point as it is with all changes made together.

    Raises:
        WrongUse: a key is unknown, a value is no value for it, or together they contradict each other.
    """
    if files.entries is None:
        raise WrongUse(Sentence("the point file cannot be read"))
    root, was = files.entries.node, {}
    job = None if files.job_entries is None else files.job_entries.node
    for change in changes:
        was[change.name] = _said(root, job, change.path) or _followed(point.pipe, change)
        root = with_change(root, job, change)
    report = Report("with --set")
    entries = k.POINT.read(root, report)
    found = checked(replace(files, own=report, entries=entries))
    if found is None or report.faulty:
        raise WrongUse(_told(changes, report.faults()))
    asked = any(change.path[0] == k.PIPE.name and set(change.path[1:]) & _DIAMETERS for change in changes)
    return Amended(found, was, _diameter_change(point.pipe, found.pipe, asked=asked))


def _followed(pipe: Pipe | None, change: Change) -> str | None:
    """The measure that the pipe had although its key was not there: `52.48 mm (standard: …)`."""
    measures = {(k.PIPE.name, k.INSIDE_DIAMETER.name): "inside_mm",
                (k.PIPE.name, k.WALL_THICKNESS.name): "wall_mm"}  # fmt: skip
    if pipe is None or pipe.table is not None or change.path not in measures:
        return None
    found = getattr(bore_of(pipe), measures[change.path])
    sizes = [*k.PIPE_SIZES, k.WALL_THICKNESS.name]
    told = ", ".join(f"{name}: {getattr(pipe, name)}" for name in sizes if getattr(pipe, name) is not None)
    return None if found is None else f"{found:.2f} mm ({told})"


def said(files: Files, path: tuple[str, ...]) -> str | None:
    """What the files say of a key, the point file before the job; None where nothing, or no plain value."""
    job = None if files.job_entries is None else files.job_entries.node
    return None if files.entries is None else _said(files.entries.node, job, path)


def _told(changes: Sequence[Change], faults: Sequence[Fault]) -> Sentence:
    written = joined(", ", (f"--set {change.name}={change.value}" for change in changes))
    wrong = joined("; ", (fault.fault for fault in faults if fault.severity == "fault"))
    return Sentence("{written}: {wrong}", written=written, wrong=wrong)


def with_change(root: Mapping, job: Mapping | None, change: Change) -> Mapping:
    """`root` with the change; a group that only the job has is taken over whole, as a point file would.

    WrongUse where the value is no YAML, or a key has no keys of its own.
    """
    first, *rest = change.path
    if not rest:
        return _put(root, first, _value(change))
    group = _child(root, first) or (None if job is None else _child(job, first)) or Mapping((), 1, 1)
    if not isinstance(group, Mapping):
        raise WrongUse(
            Sentence("--set {name}: '{first}' has no keys of its own here", name=change.name, first=first)
        )
    if first == k.PIPE.name and rest[0] in k.PIPE_SIZES:  # the new size stands in place of the old one
        group = replace(group, pairs=tuple(p for p in group.pairs if p.key.text not in k.PIPE_SIZES))
    inner = Change(tuple(rest), change.value)
    return _put(root, first, with_change(group, None, inner))


def _put(mapping: Mapping, name: str, value: Node) -> Mapping:
    pairs = [pair for pair in mapping.pairs if pair.key.text != name]
    return replace(mapping, pairs=(*pairs, Pair(Scalar(name, 1, 1), value)))


def _child(mapping: Mapping, name: str) -> Node | None:
    return next((pair.value for pair in mapping.pairs if pair.key.text == name), None)


def _value(change: Change) -> Node:
    """The value as YAML reads it in a file."""
    report = Report("--set")
    root = compose(f"value: {change.value}\n".encode(), report)
    if root is None or report.faulty:
        raise WrongUse(_told([change], report.faults()[:1]))
    return root.pairs[0].value


def _said(root: Mapping, job: Mapping | None, path: tuple[str, ...]) -> str | None:
    top = _child(root, path[0])
    node: Node | None = top if top is not None or job is None else _child(job, path[0])
    for part in path[1:]:
        node = _child(node, part) if isinstance(node, Mapping) else None
    return node.text if isinstance(node, Scalar) else None


def _diameter_change(before: Pipe | None, now: Pipe | None, *, asked: bool) -> DiameterChange | None:
    """What a changed pipe does to the flow of a meter that goes on computing with what it was set to.

    Where the file tells both diameters already, nothing changes: then it is a correction where `asked` for by
    writing one of them again.
    """
    if before is None or now is None or (before.table, now.table) != (None, None):
        return None
    old, new = bore_of(before), bore_of(now)
    told = now.diameter_set_in_meter
    differs = told is not None and millimetres(told) != new.inside_mm
    same = old.inside_mm == new.inside_mm and told == before.diameter_set_in_meter
    if same and not (asked and differs):
        return None
    if told is not None:
        return DiameterChange(
            float(old.inside_mm), float(new.inside_mm), float(millimetres(told)),
            "pipe: diameter_set_in_meter",
        )  # fmt: skip
    return DiameterChange(
        float(old.inside_mm), float(new.inside_mm), float(old.inside_mm), "the point file's diameter before"
    )
