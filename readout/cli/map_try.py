"""`map try`: what a meter's registers could mean besides what the map says, beside what its display shows."""

import re
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated, Any

import typer

from protocols.units import printed
from readout.cli.line_options import PortName
from readout.cli.options import AsJson, MapFile, TraceFile
from readout.cli.output import columns, counted, say, tell, tell_json
from readout.cli.trying import Asking, asking, unit_of_meter
from readout.errors import FellShort, WrongUse

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from protocols.modbus.requests import ReadRequest
    from protocols.register_map.model import RegisterMap, Value
    from readout.clock import Clock
    from readout.diagnose.readings.display import Display
    from readout.diagnose.readings.judging import Reading, Tried
    from readout.diagnose.readings.sampling import Answer

#: Candidates shown of a value without `--all`.
SHOWN_MOST = 6
#: Between two reads of one value at least this [s]: a sensor has had time to measure anew.
APART_S = 0.1
#: No line of text is longer, where its value and its way allow that.
WIDTH = 120
#: Registers of one value that are shown as sent; a long text has more.
_WORDS_SHOWN = 8


def map_try(
    map_file: MapFile,
    port: PortName,
    *,
    display: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=SHOWN",
            help="What the meter's display shows, such as flow=123.4; of a display that counts in thousands "
            "total='1329.7 x1000'; repeatable.",
        ),
    ] = None,
    choose: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=WAY", help="The way that is right, as printed; for --write-map."),
    ] = None,
    write_map: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the map with what was chosen into a new file.")
    ] = None,
    unit_address: Annotated[
        int | None, typer.Option(min=1, max=247, help="Unit address, if not the map's own.")
    ] = None,
    baud: Annotated[int | None, typer.Option(min=1, help="Baud rate, if not the map's own.")] = None,
    samples: Annotated[
        int,
        typer.Option(min=1, max=20, help="Reads of each value: what leaps between them is noise."),
    ] = 3,
    every: Annotated[bool, typer.Option("--all", help="Show every way that was tried.")] = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Read every register of a map and its neighbours, and show what else they could mean.

    Each value as mapped, then other types, orders of words and bytes, one register earlier or later, the
    other table; those that show what the display shows come first, as equals. Each is read several times, and
    what leaps, or runs backwards as no total does, comes last. Only reads; applies nothing by itself. Exit
    status 1 where the map's own way is not what the display shows, or makes no sense.
    """
    from readout.cli.files import load_map
    from readout.clock import SystemClock
    from readout.diagnose.readings.choosing import chosen

    found = load_map(map_file)
    shown = _displays(found, display or ())
    _check_use(choose, write_map)
    clock = SystemClock()
    unit = unit_of_meter(found, unit_address)
    with asking(found, port, unit, baud, clock, trace) as meter:
        tried, notes = _tried(found, meter, shown, clock, samples)
    choices = chosen(choose or (), tried, found)
    notes += [_of_thousands(one) for one in tried if one.in_thousands]
    for note in notes:
        say(note)
    if as_json:
        tell_json(_document(found, tried, notes))
    else:
        for one in tried:
            tell_tried(one, found.wire.numbering, every=every)
    if write_map is not None:
        _write(map_file, write_map, found, choices)
    wrong = [one.value.name for one in tried if not one.holds]
    say(_summing_up(tried, wrong, choices=bool(choices)))
    return 1 if wrong else 0


def _check_use(choose: "Sequence[str] | None", write_map: Path | None) -> None:
    if bool(choose) != (write_map is not None):
        raise WrongUse("--choose and --write-map belong together: what is chosen is written into a new file")
    if write_map is not None and write_map.exists():
        raise WrongUse(f"--write-map {write_map}: it is there already; name a new file")


def _all_values(found: "RegisterMap") -> "list[Value]":
    return [*found.readings, *found.settings, *found.identity]


def _displays(found: "RegisterMap", given: "Sequence[str]") -> "Mapping[str, Display]":
    """What was read off the display, by the value's name."""
    from readout.diagnose.readings.display import read_off

    values = {value.name: value for value in _all_values(found)}
    shown: dict[str, Display] = {}
    for text in given:
        name, equals, number = (part.strip() for part in text.partition("="))
        if not equals or name not in values:
            raise WrongUse(f"--display {text}: write NAME=SHOWN with a name of the map: {', '.join(values)}")
        shown[name] = read_off(values[name], number)
    return shown


def _tried(
    found: "RegisterMap", meter: Asking, shown: "Mapping[str, Display]", clock: "Clock", samples: int
) -> "tuple[list[Tried], list[str]]":
    """Every value of the map, tried; and what was odd on the way."""
    from readout.diagnose.readings.judging import Later, tried
    from readout.diagnose.readings.sampling import Sampler

    sampler = Sampler(found, lambda request, words: _answer(meter, request, words))
    values = _all_values(found)
    often = "" if samples == 1 else f", {samples} times"
    say(
        f"{found.meter}: reading {counted(len(values), 'value')}, their neighbours and the other table{often}"
    )
    first = {value.name: sampler.registers(value) for value in values}
    now_ms = round(clock.utc() * 1000)
    begin = clock.monotonic()
    reads: dict[str, list[Any]] = {value.name: [] for value in values}
    for _ in range(samples - 1):
        clock.sleep_until(clock.monotonic() + APART_S)
        for value in values:
            reads[value.name].append(sampler.again(value))
    seconds = clock.monotonic() - begin
    results = []
    for value in values:
        later = Later(tuple(reads[value.name]), seconds)
        one = tried(value, first[value.name], shown.get(value.name), now_ms, later)
        if one.mapped is None:
            sampler.notes.append(
                f"{value.name}: its registers were not given ({sampler.why.get(value.name, '')})"
            )
        results.append(one)
    if not sampler.heard:
        raise FellShort(sampler.last)
    return results, sampler.notes


def _answer(meter: Asking, request: "ReadRequest", words_per_address: int) -> "Answer":
    """One read as the sampler takes it."""
    from readout.bus.outcome import Status
    from readout.diagnose.readings.sampling import Answer

    outcome = meter.read(request, words_per_address)
    if outcome.status is Status.OK:
        return Answer(outcome.words)
    damaged = outcome.status in (Status.DAMAGED_REPLY, Status.WRONG_REPLY)
    return Answer(None, outcome.status is Status.NO_REPLY, outcome.text, damaged)


def tell_tried(one: "Tried", numbering: str, *, every: bool) -> None:
    """The map's own way, then the others that deserve a look."""
    value = one.value
    beside = f", the display shows {one.display.shown}" if one.display is not None else ""
    tell(f"{value.name}{beside}")
    rows = []
    shown: list[Reading] = []
    if one.mapped is not None:
        rows.append(["  as mapped", *_own_cells(one, one.mapped, numbering)])
        shown.append(one.mapped)
    others = [
        each for each in (one.readings if every else _worth(one)) if each is not one.mapped or each.power
    ]
    for each in others if every else others[:SHOWN_MOST]:
        rows.append(["", *_cells(one, each, numbering)])
        shown.append(each)
    if one.mapped is None:
        tell("  as mapped     not given by the meter")
    for line in _within_width(rows, shown):
        tell(line)
    if not every and len(others) > SHOWN_MOST:
        tell(f"  and {len(others) - SHOWN_MOST} more; --all shows them")
    tell()


def _within_width(rows: "Sequence[Sequence[str]]", readings: "Sequence[Reading]") -> "Iterator[str]":
    """The rows as lines; what does not fit into `WIDTH` goes below, under the way.

    The first line of a reading has the way, the next how many others read the same number.
    """
    if not rows:
        return
    said_within = max(map(len, columns(rows, right=frozenset({1})))) <= WIDTH
    lines = columns([row if said_within else row[:-1] for row in rows], right=frozenset({1}))
    start = sum(max(len(row[i]) for row in rows) + 2 for i in range(4))
    for line, row, reading in zip(lines, rows, readings, strict=True):
        yield line
        others = len(reading.ways) - 1
        below = [] if said_within or not row[-1] else [row[-1]]
        if others:
            below.append(f"or {counted(others, 'other way')} with the same number")
        for text in below:
            yield from wrap(
                text, WIDTH, initial_indent=" " * min(start, WIDTH // 2), break_long_words=False,
                subsequent_indent=" " * min(start, WIDTH // 2),
            )  # fmt: skip


def _worth(one: "Tried") -> "Sequence[Reading]":
    """What is shown unasked: nothing beside a map that fits; else the first, or what makes sense."""
    if one.holds and len(one.first) <= 1:
        return ()
    if one.holds and one.display is None:
        return ()
    return one.first


def _own_cells(one: "Tried", reading: "Reading", numbering: str) -> list[str]:
    """As `_cells`, of the map's own way with its own scale."""
    from dataclasses import replace

    from readout.diagnose.readings.ways import own_way

    ways = (own_way(one.value), *(way for way in reading.ways if way != own_way(one.value)))
    said = replace(reading, ways=ways, power=0)
    return [*_cells(one, said, numbering)[:-1], _said(one, reading)]


def _cells(one: "Tried", reading: "Reading", numbering: str) -> list[str]:
    """Value, unit, registers as sent, the way, what is to be said of it."""
    from readout.cli.readings_text import unit_text
    from readout.diagnose.readings.choosing import words_for

    words = " ".join(f"{word:04X}" for word in reading.words[:_WORDS_SHOWN])
    if len(reading.words) > _WORDS_SHOWN:
        words += f" … {len(reading.words)} registers"
    way = words_for(one.value, reading.way, numbering)
    said = _said(one, reading, shown_scaled=bool(reading.power))
    return [_shown(one, reading), unit_text(reading.unit, gauge=False), words, way, said]


def _shown(one: "Tried", reading: "Reading") -> str:
    from readout.clock import iso

    found = reading.value
    if found is None:
        return "no reading"
    if one.value.number.kind.value in ("unix time", "calendar"):
        assert isinstance(found, int)
        return iso(found / 1000).replace(".000Z", "").replace("T", " ")
    if isinstance(found, bool):
        return str(found).lower()
    if isinstance(found, str):
        return f'"{found}"'
    if reading.power:
        return _number(float(found) * 10.0**reading.power, reading)
    if one.value.codes:
        return f"{found} ({one.value.codes.get(int(found), 'unknown code')})"
    if one.value.bits and isinstance(found, int):
        return f"{found} ({', '.join(one.value.set_bits(found, len(reading.words))) or 'none'})"
    return _number(found, reading) if isinstance(found, float) else str(found)


def _number(number: float, reading: "Reading") -> str:
    """As many digits as the kind has: of a float32 the shortest that is that very number."""
    import numpy as np

    if reading.way.form.kind == "float32" and not reading.power:
        return f"{float(str(np.float32(number))):.9g}"
    return f"{number:.15g}"


def _said(one: "Tried", reading: "Reading", *, shown_scaled: bool = False) -> str:
    from readout.diagnose.readings.display import Fit

    if reading.why:
        seen = "what the display shows, but " if reading.fit is Fit.FITS and one.display is not None else ""
        return seen + "; ".join(reading.why)
    words = {
        Fit.FITS: "what the display shows",
        Fit.SCALED: "what the display shows, with this scale"
        if shown_scaled
        else "its digits, another scale",
        Fit.NEAR: "near what the display shows",
        Fit.PLAUSIBLE: "makes sense",
    }
    return words.get(reading.fit, "not what the display shows" if one.display is not None else "")


def _of_thousands(one: "Tried") -> str:
    """What a factor of 1000 between display and reading may mean."""
    assert one.display is not None
    name, unit = one.value.name, printed(one.value.unit or "its unit")
    again = re.sub(r"\A([-+0-9.,]+) *", r"\1 x1000 ", one.display.shown).strip()
    return (
        f"{name}: as mapped it is 1000 times what the display shows. Does the display count in thousands of"
        f" {unit} (x1000, 10³, k)? Then the map is right: try --display {name}='{again}'."
        " Else the scale of the map is"
    )


def _summing_up(tried: "Sequence[Tried]", wrong: "Sequence[str]", *, choices: bool) -> str:
    if not wrong:
        beside = sum(one.display is not None for one in tried)
        unseen = len(tried) - beside
        tail = f"; {unseen} without a display only make sense, which proves little" if unseen else ""
        return f"the map's way holds for {counted(len(tried), 'value')}{tail}"
    tail = "" if choices else "; take a way with --choose NAME=WAY --write-map FILE, and try that map again"
    return f"to be looked at: {', '.join(wrong)}{tail}"


def _write(map_file: Path, target: Path, found: "RegisterMap", choices: "Sequence[Any]") -> None:
    """The new map, and what is different in it."""
    from difflib import unified_diff

    from readout.diagnose.readings.writing import with_choices

    before = map_file.read_text(encoding="utf-8")
    after = with_choices(before, found, choices)
    try:
        with target.open("x", encoding="utf-8", newline="") as out:
            out.write(after)
    except OSError as error:
        raise WrongUse(
            f"--write-map {target}: cannot be written ({error.strerror}); is the path right?"
        ) from error
    for line in unified_diff(
        before.splitlines(), after.splitlines(), str(map_file), str(target), "", "", 0, ""
    ):
        say(line)
    say(f"{target}: written; check it with `pipeledger map check` and try it again on the meter")


def _document(found: "RegisterMap", tried: "Sequence[Tried]", notes: "Sequence[str]") -> dict[str, Any]:
    """Readings best first; equals have the same `fit`."""
    numbering = found.wire.numbering
    return {
        "meter": found.meter,
        "notes": list(notes),
        "values": [
            {
                "name": one.value.name,
                "display": None if one.display is None else one.display.shown,
                "holds": one.holds,
                "mapped": None if one.mapped is None else _reading(one, one.mapped, numbering),
                "readings": [_reading(one, each, numbering) for each in one.readings],
            }
            for one in tried
        ],
    }


def _reading(one: "Tried", reading: "Reading", numbering: str) -> dict[str, Any]:
    from readout.diagnose.readings.choosing import words_for

    return {
        "value": reading.value,
        "unit": reading.unit,
        "registers": [f"{word:04X}" for word in reading.words],
        "fit": reading.fit.name.lower(),
        "ways": [words_for(one.value, way, numbering) for way in dict.fromkeys((reading.way, *reading.ways))],
        "why": list(reading.why),
        "later": list(reading.later),
    }
