"""`map pick`: which map of a folder fits the meter on a port."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from readout.cli.line_options import PortName
from readout.cli.options import AsJson, TraceFile
from readout.cli.output import counted, say, tell_json
from readout.cli.picked_text import document, fitting, next_steps, print_ranking
from readout.cli.progress import counting
from readout.errors import FellShort, NothingTrusted, WrongUse

if TYPE_CHECKING:
    from readout.bus.exchange import Manners
    from readout.bus.trace import Trace
    from readout.clock import Clock
    from readout.diagnose.picking.answers import Answers
    from readout.diagnose.picking.picking import LineMeter, Picked, Setting
    from readout.diagnose.picking.planning import Candidate
    from readout.plan.blocks import Block


def map_pick(
    port: PortName,
    *,
    maps: Annotated[Path, typer.Option("--maps", metavar="DIR", help="The folder with the maps (YAML).")],
    unit_address: Annotated[
        int | None,
        typer.Option("--unit-address", "--unit", min=1, max=247, help="Unit address, if not the maps' own."),
    ] = None,
    baud: Annotated[
        str | None, typer.Option("--baud", metavar="N[,N…]", help="Baud rates to try, if not the maps' own.")
    ] = None,
    characters: Annotated[
        str | None,
        typer.Option(
            "--characters",
            metavar="FORM[,FORM…]",
            help="Data bits, parity and stop bits to try, such as 8E1, if not the maps' own.",
        ),
    ] = None,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Find which map of a folder fits the meter on a port, by what it calls itself and what it answers.

    Reads only, each distinct request once for all maps. Line settings and unit address are the maps' own,
    tried in turn where they differ. Exit status 0 where exactly one map fits, 1 where none or several do or
    nobody answers, 3 where the port is not to be had, 4 where no reply could be trusted.
    """
    from readout.bus.trace import Trace
    from readout.clock import SystemClock

    candidates, passed_over = _maps_of(maps)
    for file, fault in passed_over:
        say(f"{maps / file}: passed over: {fault}")
    if not candidates:
        raise WrongUse(f"--maps {maps}: no register map there (*.yaml) that could be tried")
    settings = _settings(candidates, unit_address, baud, characters)
    clock = SystemClock()
    kept = Trace(trace, clock) if trace else None
    try:
        setting, picked = _pick(port, candidates, settings, clock, kept)
    finally:
        if kept:
            kept.close()
    steps = next_steps(picked, setting, port, maps)
    behind = list(settings)[list(settings).index(setting) + 1 :]
    others = [str(other) for other in behind if other.unit != setting.unit]
    if others:
        steps.append(
            f"{setting} answered first, so its meter is meant; next in turn were {', '.join(others)}. "
            "--unit-address asks another meter of the line"
        )
    if as_json:
        tell_json(document(port, picked, setting, passed_over, steps))
    else:
        print_ranking(picked)
    for line in steps:
        say(line)
    return 0 if fitting(picked) is not None else 1


def _maps_of(folder: Path) -> "tuple[list[Candidate], list[tuple[str, str]]]":
    """The folder's maps with what is asked for each, and the files passed over, each with why."""
    from protocols.register_map.parse import parse_map
    from readout.cli.files import read_bytes
    from readout.diagnose.picking.planning import candidate

    if not folder.is_dir():
        raise WrongUse(f"--maps {folder}: no such folder; is the path right?")
    found, passed_over = [], []
    for file in sorted(each for each in folder.iterdir() if each.suffix in (".yaml", ".yml")):
        try:
            parsed = parse_map(read_bytes(file), file.name)
        except WrongUse as error:
            passed_over.append((file.name, str(error)))
            continue
        if parsed.map is not None:
            found.append(candidate(file.name, parsed.map))
            continue
        faults = [fault for fault in parsed.faults if fault.severity == "fault"]
        more = f" (and {counted(len(faults) - 1, 'more fault')})" if len(faults) > 1 else ""
        passed_over.append((file.name, f"{faults[0]}{more}"))
    return found, passed_over


def _settings(
    candidates: "Sequence[Candidate]", unit: int | None, baud: str | None, characters: str | None
) -> "dict[Setting, list[Candidate]]":
    """The settings to try with the maps that say so, those of most maps first."""
    from readout.cli.line_options import chosen_settings
    from readout.diagnose.picking.picking import Setting
    from readout.diagnose.settings import characters as characters_of
    from readout.measuring_point.load import factory_format

    said = [one.map.serial.unit_address for one in candidates if one.map.serial.unit_address is not None]
    if unit is None and not said:
        raise WrongUse("no map says a unit_address; give one with --unit-address")
    found: dict[Setting, list[Candidate]] = {}
    for one in candidates:
        own = factory_format(one.map)
        formats = chosen_settings("", baud or str(own.baud_rate), characters or characters_of(own))
        own_unit = one.map.serial.unit_address
        units = [unit] if unit is not None else said if own_unit is None else [own_unit]
        for fmt in formats:
            for each in dict.fromkeys(units):
                found.setdefault(Setting(fmt, each), []).append(one)
    return dict(sorted(found.items(), key=lambda entry: -len(entry[1])))


def _pick(
    port: str,
    candidates: "Sequence[Candidate]",
    settings: "dict[Setting, list[Candidate]]",
    clock: "Clock",
    trace: "Trace | None",
) -> "tuple[Setting, Picked]":
    """Try the settings in turn, and judge all maps at the first where a meter answers.

    Raises:
        FellShort: nobody answers. NothingTrusted: what came could not be trusted. PortError.
    """
    from readout.diagnose.picking.picking import pick
    from readout.diagnose.picking.planning import moving_windows, patient

    manners = patient(candidates)
    total, seconds = _announce(candidates, settings, manners)
    with counting("asking", total, seconds) as shown:
        search = _Search(port, clock, trace, moving_windows(candidates))
        for treatment in (replace(manners, late_within=0.0), manners):
            for setting, own in settings.items():
                with search.answering(setting, own, treatment) as found:
                    if found is None:
                        continue
                    answers, meter = found
                    meter.manners = manners
                    now = round(clock.utc() * 1000)
                    return setting, pick(
                        candidates, answers, meter, now, lambda asked: shown(asked, f"{asked} requests")
                    )
    raise _nobody(port, settings, search.garbled)


class _Search:
    """Asks at one setting after the other until a meter answers; `garbled`: what could not be trusted."""

    def __init__(
        self, port: str, clock: "Clock", trace: "Trace | None", barred: "Mapping[Block, str]"
    ) -> None:
        self.garbled = ""
        self._port, self._clock, self._trace, self._barred = port, clock, trace, barred
        self._silent: set[int] = set()

    @contextmanager
    def answering(
        self, setting: "Setting", own: "Sequence[Candidate]", manners: "Manners"
    ) -> "Iterator[tuple[Answers, LineMeter] | None]":
        """The meter on its open line with what it answered; None where nobody does."""
        from readout.bus.exchange import Line
        from readout.bus.outcome import Status
        from readout.bus.port import open_port
        from readout.diagnose.picking.answers import Answers
        from readout.diagnose.picking.picking import LineMeter, is_there, probes

        line = Line(open_port(self._port, setting.format), setting.format, self._clock, self._trace)
        try:
            meter = LineMeter(line, setting.unit, manners, self._clock)
            answers = Answers(meter.read, self._barred)
            if is_there(answers, probes(own)):
                say(f"{setting} answers")
                silent = self._silent | {setting.unit for _ in answers.outcomes[1:]}
                # After silence a fitting reply of this very unit may be a late one: nothing is kept of it.
                yield (Answers(meter.read, self._barred) if setting.unit in silent else answers), meter
                return
        finally:
            line.close()
        self._silent.add(setting.unit)
        bad = [one.text for one in answers.outcomes if one.status is not Status.NO_REPLY]
        self.garbled = self.garbled or (bad[0] if bad else "")
        yield None


def _announce(
    candidates: "Sequence[Candidate]", settings: "dict[Setting, list[Candidate]]", manners: "Manners"
) -> tuple[int, float]:
    """Say what will be sent; the most requests, and the seconds they take where all are answered."""
    from readout.cli.find import in_words
    from readout.diagnose.picking.picking import probes
    from readout.diagnose.picking.planning import WHO, expected_seconds, in_order, lone

    blocks, singly = in_order(candidates), lone(candidates)
    total = len(blocks) + WHO + len(singly)
    slowest = min((one.format for one in settings), key=lambda fmt: fmt.baud_rate)
    seconds = expected_seconds([*blocks, *blocks[:WHO], *singly], slowest, manners)
    wait = manners.reply_within + manners.late_within
    silence = sum(len(probes(own)) for own in settings.values()) * (wait + manners.reply_within)
    say(
        f"{counted(len(candidates), 'map')}: {len(blocks) + WHO} read requests, at most {total} where the "
        f"meter refuses some; {in_words(seconds)} at {slowest}, up to {2 * wait:.3g} s more for each without "
        "a reply. Nothing is written"
    )
    if len(settings) > 1:
        say(
            f"the maps differ in line settings or unit address, so {len(settings)} are tried in turn, "
            f"about {in_words(silence)} while nobody answers: {', '.join(map(str, settings))}"
        )
    return total, seconds


def _nobody(port: str, settings: "Iterable[Setting]", garbled: str) -> FellShort | NothingTrusted:
    where = ", ".join(map(str, settings))
    try_this = (
        f"`pipeledger find {port}` looks for line settings and unit address; then give --baud, --characters "
        "and --unit-address."
    )
    if garbled:
        return NothingTrusted(f"{port}: no reply could be trusted with {where}. {garbled} {try_this}")
    return FellShort(f"{port}: nobody answers with {where}. {try_this}")
