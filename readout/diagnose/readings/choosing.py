"""A way to read a value as a few words that can be typed back: `float32:CDAB:input:30017`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from protocols.register_map.model import WORDS, RegisterMap, Value
from protocols.register_map.numbering import as_printed
from readout.diagnose.readings.judging import Tried
from readout.diagnose.readings.ways import Way
from readout.errors import WrongUse


@dataclass(frozen=True, slots=True)
class Choice:
    """What a person chose for one value."""

    value: Value
    way: Way


def words_for(value: Value, way: Way, numbering: str) -> str:
    """Type, order of bytes, table, register as the map counts them; scale and coding where they differ."""
    form, place = way.form, way.place
    width = WORDS.get(form.kind, value.number.words)
    number = as_printed(place.table, value.number.address + place.shift, numbering)
    said = [form.kind.value, form.letters(width), place.table.value, str(number)]
    if form.kind == "bit":
        said = [place.table.value, str(number)]
    if form.scale != value.number.scale:
        said.append(f"scale={form.scale}")
    if form.coding != value.coding and form.coding is not None:
        said.append(form.coding)
    return ":".join(said)


def chosen(given: Sequence[str], tried: Sequence[Tried], register_map: RegisterMap) -> list[Choice]:
    """What `--choose NAME=WAY` means, each among the readings that this meter gave.

    Raises:
        WrongUse: there is no such value or way, or a value is chosen twice.
    """
    found: dict[str, Choice] = {}
    by_name = {one.value.name: one for one in tried}
    for text in given:
        name, equals, words = (part.strip() for part in text.partition("="))
        one = by_name.get(name)
        if not equals or one is None:
            raise WrongUse(f"--choose {text}: write NAME=WAY with a name of the map: {', '.join(by_name)}")
        if name in found:
            raise WrongUse(f"--choose {text}: {name} is chosen already, and can be read in one way only")
        ways = _ways(one, register_map.wire.numbering)
        way = ways.get(words) or _scaled(words, ways)
        if way is None:
            shown = [words_for(one.value, each.way, register_map.wire.numbering) for each in one.first[:4]]
            hint = f"; such as {', '.join(shown)}" if shown else ""
            raise WrongUse(f"--choose {text}: no such way was tried on {name}{hint}")
        found[name] = Choice(one.value, way)
    return list(found.values())


def _ways(one: Tried, numbering: str) -> Mapping[str, Way]:
    ways = [way for reading in one.readings for way in (*reading.ways, reading.way)]
    return {words_for(one.value, way, numbering): way for way in ways}


def _scaled(words: str, ways: Mapping[str, Way]) -> Way | None:
    """A way that was tried, with its point moved by `scale=…`.

    That is offered only while the display's digits are those on the wire: a value that has moved on since it
    was printed can still be chosen.
    """
    said = words.split(":")
    scales = [part for part in said if part.startswith("scale=")]
    way = ways.get(":".join(part for part in said if part not in scales))
    if way is None or len(scales) != 1:
        return None
    try:
        scale = Decimal(scales[0].removeprefix("scale=").replace(",", "."))
        is_power = scale > 0 and (scale / way.form.scale).normalize().as_tuple().digits == (1,)
    except ArithmeticError:
        return None
    return replace(way, form=replace(way.form, scale=scale)) if is_power else None
