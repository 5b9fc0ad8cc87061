"""`reference: as NAME`, followed to the conditions it stands for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from protocols.register_map.build.numbers import Built
from protocols.register_map.document import Scalar
from protocols.register_map.faults import Report, quoted
from protocols.register_map.grammar import values as g
from protocols.register_map.model import Reference, ToldUnit, Value


def resolve(values: Sequence[Built], names: frozenset[str], report: Report) -> list[Value]:
    """The values with every `as NAME` replaced by the conditions of that reading; names are readings.

    `names` are all readings of the text: one with faults of its own is no unknown name.
    """
    readings: dict[str, Built] = {}
    for built in values:
        readings.setdefault(built.value.name, built)  # readings come first; a setting may share a name
    chains = _Chains(readings, names, report)
    found: list[Value] = []
    for built in values:
        own = built.value.reference
        if None in built.taken:
            own = chains.follow(built.taken[None]) or own
        told = built.value.told_unit
        if told is not None:
            taken = {code: chains.follow(name) for code, name in built.taken.items() if code is not None}
            references = {code: reference for code, reference in taken.items() if reference is not None}
            told = ToldUnit(told.number, told.codes, {**told.references, **references})
        found.append(replace(built.value, reference=own, told_unit=told))
    return found


@dataclass
class _Chains:
    """References from one reading to the next; where each reading's chain ends is found once."""

    readings: Mapping[str, Built]
    names: frozenset[str]
    report: Report
    ends: dict[str, Reference | str] = field(default_factory=dict)

    def follow(self, taken: Scalar) -> Reference | None:
        """The conditions that `as NAME` stands for; None where that is told as a fault, or was before."""
        name = taken.text
        if name not in self.names:
            near = self.report.nearest(name, self.names)
            self.report.fault(
                taken,
                f"reference as {quoted(name)}, but no reading has that name{near}",
                "reference to nothing",
            )
            return None
        end = self._end(name)
        if isinstance(end, str):
            if end:
                self.report.fault(taken, f"reference as '{name}', but {end}", "reference to nothing")
            return None
        return Reference(end.temperature, end.pressure, taken_from=name)

    def _end(self, name: str) -> Reference | str:
        """The conditions at the chain's end, or why there are none; empty where that is told already."""
        passed: dict[str, None] = {}
        while name not in self.ends:
            passed[name] = None
            built = self.readings.get(name)
            following = None if built is None else built.taken.get(None)
            if built is None:
                self.ends[name] = ""
            elif built.value.reference is not None:
                self.ends[name] = built.value.reference
            elif following is None:
                is_told = built.entries.has(g.REFERENCE)
                self.ends[name] = "" if is_told else f"'{name}' has no reference of its own"
            elif following.text in passed:
                circle = " → ".join([*list(passed)[-5:], following.text])
                self.ends[name] = (
                    f"the references go round in a circle ({circle}); give one of them its conditions"
                )
            elif following.text not in self.names:
                self.ends[name] = ""
            else:
                name = following.text
        end = self.ends[name]
        self.ends.update(dict.fromkeys(passed, end))
        return end
