"""What a person is asked about a new measuring point, in the order in which it is found out at the pipe."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from protocols.register_map.document import Mapping, Pair, Scalar
from protocols.register_map.faults import Report
from protocols.register_map.forms import Choice, Key, Keys
from readout.errors import WrongUse
from readout.measuring_point import grammar as k
from readout.measuring_point.amendment.amend import Change, with_change

#: One of these makes a pipe, asked for in this order: its other keys are asked only with one.
SIZES = ("pipe.outside_diameter", "pipe.circumference", "pipe.standard", "pipe.inside_diameter")


@dataclass(frozen=True, slots=True)
class Question:
    """A key to ask for, where one of `after` has an answer and none of `unless` has.

    `required`: it is asked for until it has an answer. `loses`: what follows from passing it over, as the
    person is told.
    """

    key: str
    loses: str = ""
    required: bool = False
    after: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()

    @property
    def path(self) -> tuple[str, ...]:
        """The key's parts."""
        return tuple(self.key.split("."))

    @property
    def text(self) -> str:
        """What is asked: the key, what it means, an example, what Enter loses."""
        found = key_at(self.path)
        example = "" if found.example is None else f", such as {found.example}"
        if isinstance(found.form, Choice):
            example = f" ({', '.join(found.form.words)})"
        loses = f"; then {self.loses}" if self.loses else ""
        skip = "" if self.required else f" (Enter: not known{loses})"
        return f"{self.key}: {found.means}{example}{skip}"

    def is_due(self, answered: Collection[str]) -> bool:
        """Whether it is asked, given the keys that have an answer."""
        if self.key in answered or any(key in answered for key in self.unless):
            return False
        if self.path[0] == "pipe" and self.key not in SIZES and not any(size in answered for size in SIZES):
            return False
        return not self.after or any(key in answered for key in self.after)


_PROBE = ("pipe.probe.calibrated_for", "pipe.probe.stem_diameter", "pipe.probe.fitting_height")
_NO_VELOCITY = "no velocity is worked out"
_NO_MARK = "there is no mark on the stem"

QUESTIONS = (
    Question("name", required=True),
    Question("job"),
    Question("site.name", required=True, unless=("job",)),
    Question("site.time_zone", required=True, unless=("job",)),
    Question("site.atmospheric_pressure", "the height above the sea is asked for", unless=("job",)),
    Question(
        "site.altitude", "gauge pressures cannot be made absolute, and no velocity is worked out",
        unless=("job", "site.atmospheric_pressure"),
    ),
    Question("role"),
    Question("meter.map", required=True),
    Question("meter.unit_address", "it is the map's"),
    Question("meter.serial_number", "another meter in its place is not noticed"),
    Question("meter.owner"),
    Question("line.port", required=True),
    Question("pipe.outside_diameter", "another measure of the pipe is asked for"),
    Question("pipe.circumference", "the standard is asked for", unless=SIZES[:1]),
    Question("pipe.standard", "the bore is asked for", unless=SIZES[:2]),
    Question("pipe.inside_diameter", "nothing of the pipe is worked out, nor asked for", unless=SIZES[:3]),
    Question("pipe.wall_thickness", required=True, after=SIZES[:2]),
    Question("pipe.wall_thickness", _NO_MARK, after=("pipe.inside_diameter",)),
    Question(
        "pipe.diameter_from", "the diameter counts as assumed, 5 % either way",
        after=("pipe.wall_thickness", "pipe.inside_diameter"),
    ),
    Question("pipe.diameter_set_in_meter", "it is not compared with the pipe's"),
    Question("pipe.probe.calibrated_for", "the centre is taken, where there is a probe"),
    Question("pipe.probe.stem_diameter", "neither its blockage nor the force on it is worked out"),
    Question("pipe.probe.fitting_height", _NO_MARK),
    Question("pipe.probe.sensor_to_tip", _NO_MARK, after=_PROBE),
    Question("pipe.inlet_run.length", "it is not compared with what is asked for"),
    Question("pipe.inlet_run.after", after=("pipe.inlet_run.length",)),
    Question("pipe.outlet_run.length", "it is not compared with what is asked for"),
    Question("conditions.fluid", "it is the map's"),
    Question("conditions.pressure", f"{_NO_VELOCITY}, nor the force on a stem"),
    Question("conditions.temperature", _NO_VELOCITY),
    Question("conditions.expected_flow", _NO_VELOCITY),
    Question("reference.temperature", f"{_NO_VELOCITY}, unless a job file has the reference"),
    Question("reference.pressure", required=True, after=("reference.temperature",)),
    Question("record.every", "log needs --every"),
)  # fmt: skip


def key_at(path: tuple[str, ...]) -> Key[Any]:
    """The key of the point file's grammar; WrongUse where it has none such."""
    form: Any = k.POINT
    within: list[Keys] = []
    found: Key[Any] | None = None
    for part in path:
        keys = form.keys if isinstance(form, Keys) else ()
        found = next((key for key in keys if key.name == part), None)
        if found is None:
            known = ", ".join(key.name for key in keys) or "none of its own"
            place = form.place_of(part, within) if isinstance(form, Keys) else ""
            told = f", but {place}" if place else f"; known: {known}"
            raise WrongUse(f"{'.'.join(path)}: '{part}' is no key here{told}")
        if isinstance(form, Keys):
            within.append(form)
        form = found.form
    if found is None:
        raise WrongUse("no key is named")
    return found


def wrong_answer(question: Question, answer: str) -> str:
    """What is wrong with an answer, in the words of the file's checks, or nothing."""
    report = Report("answer")
    try:
        root = with_change(Mapping((), 1, 1), None, Change(("value",), answer))
    except WrongUse as error:
        return str(error).removeprefix(f"--set value={answer}: ")
    key_at(question.path).form.read(root.pairs[0].value, report)
    faults = report.faults()
    return faults[0].fault if faults else ""


def new_point(changes: "list[Change]") -> Mapping:
    """The nodes of a new point file with these keys set, in the order of the file format."""
    root = Mapping((Pair(Scalar(k.POINT_FORMAT.name, 1, 1), Scalar("1", 1, 1)),), 1, 1)
    for change in changes:
        key_at(change.path)
        root = with_change(root, None, change)
    order = {key.name: index for index, key in enumerate(k.POINT.keys)}
    return Mapping(tuple(sorted(root.pairs, key=lambda pair: order.get(pair.key.text, 99))), 1, 1)
