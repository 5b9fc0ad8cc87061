"""`reference: as NAME`, followed to the conditions it stands for."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from protocols.register_map import grammar as g
from protocols.register_map.build.numbers import Built
from protocols.register_map.document import Scalar
from protocols.register_map.faults import Report
from protocols.register_map.model import Reference, ToldUnit, Value


def resolve(values: Sequence[Built], names: frozenset[str], report: Report) -> list[Value]:
    """The values with every `as NAME` replaced by the conditions of that reading; names are readings.

    `names` are all readings of the text: one with faults of its own is no unknown name.
    """
    readings: dict[str, Built] = {}
    for built in values:
        readings.setdefault(built.value.name, built)  # readings come first; a setting may share a name
    found: list[Value] = []
    for built in values:
        own = built.value.reference
        if None in built.taken:
            own = _follow(built.taken[None], readings, names, report) or own
        told = built.value.told_unit
        if told is not None:
            references = dict(told.references)
            for code, taken in built.taken.items():
                reference = None if code is None else _follow(taken, readings, names, report)
                if code is not None and reference is not None:
                    references[code] = reference
            told = ToldUnit(told.number, told.codes, references)
        found.append(replace(built.value, reference=own, told_unit=told))
    return found


def _follow(
    taken: Scalar, readings: Mapping[str, Built], names: frozenset[str], report: Report
) -> Reference | None:
    name = taken.text
    if name not in names:
        near = report.nearest(name, names)
        report.fault(taken, f"reference as '{name}', but no reading has that name{near}")
        return None
    passed = [name]
    while (built := readings.get(passed[-1])) is not None:
        if built.value.reference is not None:
            reference = built.value.reference
            return Reference(reference.temperature, reference.pressure, taken_from=name)
        following = built.taken.get(None)
        if following is None:
            if not built.entries.has(g.REFERENCE):
                report.fault(taken, f"reference as '{name}', but '{passed[-1]}' has no reference of its own")
            return None
        if following.text in passed:
            circle = " → ".join([*passed, following.text])
            report.fault(
                taken, f"the references go round in a circle: {circle}; give one of them its conditions"
            )
            return None
        passed.append(following.text)
    return None
