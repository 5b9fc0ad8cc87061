"""The appendix: what the figures rest on, and one hole as an illustration."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from protocols.units import Dimension, Quantity, quantity_of
from readout.measuring_point.checks.plain import absolute_pascals, pascals, per_hour
from readout.measuring_point.figures.place import fluid_said
from readout.report.content.blocks import Item, Section, Table, Text, fold
from readout.report.content.pictures import curves
from readout.report.language.words import Words, plain
from readout.review.air.demand import Demand
from readout.review.air.orifice import SHARP_EDGED, equivalent_diameter
from readout.review.review import Review
from readout.sentence import Sentence

#: Air: gas constant [J/(kg K)], as the orifice's; what surrounds the pipe and what is in it.
_R, _AROUND_PA, _INSIDE_K = 287.05, Decimal(101_325), 293.15
#: What rows keep where a reference condition is not known.
_UNKNOWN = {"not read": Sentence("not read"), "not stated": Sentence("not stated")}
#: Files named one by one; an archive of years has more.
MOST_FILES = 60


@dataclass(frozen=True, slots=True)
class SealedRows:
    """A sealed file that the figures come from."""

    file: str
    rows: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Condition:
    """A reference temperature or pressure as text, and the register of the meter that told it, if one did."""

    value: str
    told_by: str | None


def conditions(reference: str | None) -> list[Condition]:
    """Of `20.0 degC (told by holding 20 int16), 1000 mbar`, as rows keep it; empty for None.

    Where the meter did not answer, `not read, told by holding 20 int16` stands for one of them.
    """
    found = []
    kept = (reference or "").replace("not read, told by ", "not read (told by ")
    for part in kept.split(", ") if kept else ():
        value, _, told = part.partition(" (told by ")
        number, _, unit = value.partition(" ")
        if "." in number:
            value = f"{number.rstrip('0').rstrip('.')} {unit}"
        value = _UNKNOWN.get(value, value)
        found.append(Condition(value, told.removesuffix(")") or None))
    return found


def appendix(found: Review, words: Words, files: Sequence[SealedRows] = ()) -> Section:
    """Histogram, one hole, late replies, failed requests, the files and the ledger's last line."""
    name = found.flow.info.name if found.flow is not None else next(iter(found.readings), None)
    items: list[Item] = [] if name is None else [curves.histogram(found, name, words)]
    items += _references(found, words)
    hole = _one_hole(found, words)
    items += [] if hole is None else [hole]
    return Section(
        words("Appendix"), [*items, *_requests(found, words), *_files(files, words), *_ledger(found, words)]
    )


def _requests(found: Review, words: Words) -> Iterator[Text]:
    """What came late, and what never came to a usable reply."""
    late = found.book.late_replies
    yield Text(words("Replies after the time that the map allows, whose values are kept: {n}.", n=late))
    asked = found.book.requests
    if asked.sent:
        yield Text(
            words(
                "Requests without a usable reply, made good by asking again or not: {failed} of {sent}. "
                "Rows that lack values for it: {rows}.",
                failed=sum(asked.failed.values()), sent=asked.sent, rows=sum(asked.rows.values()),
            )
        )  # fmt: skip


def _files(files: Sequence[SealedRows], words: Words) -> Iterator[Item]:
    """The sealed files with their hashes, as many as a page can bear."""
    if files:
        heads = (words("file"), words("rows"), "SHA-256")
        rows = [(plain(one.file), str(one.rows), one.sha256) for one in files[:MOST_FILES]]
        yield fold(Table(words("Sealed files of this point"), heads, rows, "words"), words)
    if len(files) > MOST_FILES:
        more = len(files) - MOST_FILES
        yield Text(words("and {n} more: `archive list` has all of them.", n=more), "small")


def _ledger(found: Review, words: Words) -> Iterator[Text]:
    """Its last line, by which a cut is found, and its faults."""
    n, tail = found.book.tail
    yield Text(
        words(
            "The ledger's last line is number {n}, SHA-256 {hash}: write it down elsewhere, and a"
            " ledger that was cut is found.",
            n=n,
            hash=tail,
        ),
        "small",
    )
    for fault in found.book.faults:
        yield Text(words(fault), "strong")


def _references(found: Review, words: Words) -> list[Table]:
    """By which registers the meter told the reference conditions; nothing where the map states them."""
    rows = [
        (words.name(name), words.outside(one.value), plain(one.told_by))
        for name, reading in found.readings.items()
        for one in conditions(reading.info.reference)
        if one.told_by is not None
    ]
    heads = (words("reading"), words("at"), words("register"))
    return [Table(words("Reference conditions that the meter told"), heads, rows, "words")] if rows else []


def _one_hole(found: Review, words: Words) -> Text | None:
    """What flows out of hours as one sharp-edged hole; None where it cannot be worked out without a guess."""
    pressure = found.installation.pressure
    told = None if pressure is None else found.readings.get(pressure.name)
    if found.flow is None or told is None or not isinstance(found.demand, Demand) or not found.demand.mean:
        return None
    if not _is_air(found):
        return None
    median, unit = told.statistics.median, told.shown.unit or ""
    mass = _mass_kg_s(found.demand.mean, found.demand.unit, found.flow.info.reference)
    inside = None if median is None else _quantity(median, unit)
    if mass is None or inside is None or not inside.gauge or inside.number <= 0:
        return None
    metres = equivalent_diameter(mass, float(absolute_pascals(inside, _AROUND_PA)), _INSIDE_K)
    return Text(
        words(
            "An illustration, no finding: of air at {pressure} {unit} and 20 °C, one sharp-edged hole of"
            " {size} mm (coefficient {c}) lets out as much as flows out of hours. There are many places, and"
            " wanted demand is among them.",
            pressure=words.number(median), unit=words.unit(unit), size=words.number(1000 * metres, 2),
            c=words.number(SHARP_EDGED),
        )
    )  # fmt: skip


def _is_air(found: Review) -> bool:
    """By the point file, else by the map."""
    from readout.sealing.table import map_of

    return fluid_said(found.installation.conditions, map_of(found.installation.map_text)) == "air"


def _mass_kg_s(mean: float, word: str | None, reference: str | None) -> float | None:
    """The flow as a mass of air; a volume by its reference conditions, where those are plain."""
    flow = _quantity(mean, word)
    if flow is None or flow.unit.conditional:
        return None
    if flow.unit.dimension is Dimension.MASS_FLOW:
        return float(per_hour(flow)) / 3600
    if flow.unit.dimension is not Dimension.VOLUME_FLOW or not reference:
        return None
    state = [quantity_of(one.value) for one in conditions(reference)]
    if len(state) != 2 or not all(isinstance(one, Quantity) for one in state):
        return None
    temperature, pressure = (one for one in state if isinstance(one, Quantity))
    if temperature.unit.word != "degC" or pressure.unit.dimension is not Dimension.PRESSURE:
        return None
    density = float(pascals(pressure)) / (_R * (float(temperature.number) + 273.15))
    return float(per_hour(flow)) / 3600 * density


def _quantity(number: float, word: str | None) -> Quantity | None:
    """A number that was worked out, with more digits than anybody would write, and its unit."""
    one = quantity_of(f"1 {word}")
    return replace(one, number=Decimal(repr(number))) if isinstance(one, Quantity) else None
