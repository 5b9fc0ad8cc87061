"""What an amendment asks to be written into the point file, for what is recorded from now on."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from readout.measuring_point import grammar as k
from readout.measuring_point.amendment.amend import Amended, Change
from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.model import MeasuringPoint, Pipe
from readout.measuring_point.pipe.bore import Bore, bore_of

#: A wall that a file says and the new bore goes with it is the same within this.
_SAME_WALL_MM = Decimal("0.05")


@dataclass(frozen=True, slots=True)
class FileLine:
    """One key with its value as a point file has it, and a remark where it needs one."""

    path: tuple[str, ...]
    value: str
    remark: str = ""


def file_lines(before: MeasuringPoint, found: Amended, changes: Sequence[Change]) -> list[str]:
    """Lines of YAML, groups first: the changes, and what a pipe's new size would else lose of the old one."""
    told = [FileLine(change.path, change.value, _in_place_of(before.pipe, change)) for change in changes]
    told += _kept_of_the_pipe(before.pipe, found.point.pipe, changes)
    return list(_as_yaml(told))


def _in_place_of(pipe: Pipe | None, change: Change) -> str:
    """The size that a new one takes the place of; both together are refused."""
    size = _size(pipe)
    if change.path[:1] != (k.PIPE.name,) or change.path[-1] not in k.PIPE_SIZES or size is None:
        return ""
    return "" if size == change.path[-1] else f"in place of `{size}`"


def _size(pipe: Pipe | None) -> str | None:
    return None if pipe is None else next((one for one in k.PIPE_SIZES if getattr(pipe, one)), None)


def _kept_of_the_pipe(before: Pipe | None, now: Pipe | None, changes: Sequence[Change]) -> Iterator[FileLine]:
    """What goes with a new inside diameter: the wall, where it comes from, what the meter computes with."""
    if (k.PIPE.name, k.INSIDE_DIAMETER.name) not in [change.path for change in changes]:
        return
    if before is None or now is None or now.inside_diameter is None or before.table is not None:
        return
    old, inside = bore_of(before), millimetres(now.inside_diameter)
    wall = _wall_left(old, inside, now, changes)
    if wall is not None:
        remark = (
            f"{old.outside_mm:.2f} mm outside less the bore, halved, for the mark on the stem; measure it"
        )
        if now.wall_thickness is not None:
            remark += f"; in place of {now.wall_thickness}"
        yield FileLine((k.PIPE.name, k.WALL_THICKNESS.name), f"{wall:.2f} mm", remark)
    if now.diameter_from is None:
        remark = "if it was; else it counts as assumed, and the uncertainty with it"
        yield FileLine((k.PIPE.name, k.DIAMETER_FROM.name), "measured", remark)
    if now.diameter_set_in_meter is None:
        remark = "as long as the meter is set to that"
        yield FileLine((k.PIPE.name, k.SET_IN_METER.name), f"{old.inside_mm:.2f} mm", remark)


def _wall_left(old: Bore, inside: Decimal, now: Pipe, changes: Sequence[Change]) -> Decimal | None:
    """The wall [mm] that the new bore leaves of the old outside; None where that is said, or not known."""
    if (k.PIPE.name, k.WALL_THICKNESS.name) in [change.path for change in changes]:
        return None
    if old.outside_mm is None or old.outside_mm <= inside:
        return None
    wall = (old.outside_mm - inside) / 2
    said = now.wall_thickness
    return None if said is not None and abs(millimetres(said) - wall) < _SAME_WALL_MM else wall


def _as_yaml(told: Sequence[FileLine]) -> Iterator[str]:
    """Keys of one group under one heading, each group once, in the order of their first line."""
    groups = dict.fromkeys(line.path[:-1] for line in told)
    shown: tuple[str, ...] = ()
    for group in groups:
        for depth, name in enumerate(group):
            if group[: depth + 1] != shown[: depth + 1]:
                yield f"{'  ' * depth}{name}:"
        shown = group
        for line in told:
            if line.path[:-1] == group:
                remark = f"  # {line.remark}" if line.remark else ""
                yield f"{'  ' * len(group)}{line.path[-1]}: {line.value}{remark}"
