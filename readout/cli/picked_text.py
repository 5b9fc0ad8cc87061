"""How `map pick` tells what it found: the ranking in sentences, as data, and what to do next."""

from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

from readout.cli.output import tell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from readout.diagnose.picking.picking import Picked, Setting
    from readout.diagnose.picking.ranking import Ranked

#: Sentences against a map that are shown.
AGAINST_MOST = 4


def fitting(picked: "Picked") -> "Ranked | None":
    """The one map that fits; None where none or several do."""
    from readout.diagnose.picking.ranking import Verdict

    found = [one for one in picked.maps if one.verdict is Verdict.FITS]
    return found[0] if len(found) == 1 else None


def print_ranking(picked: "Picked") -> None:
    """The maps, best first, each with what speaks for and against it."""
    width = max(len(one.file) for one in picked.maps)
    for one in picked.maps:
        tell(f"{one.verdict!s:<12}  {one.file:<{width}}  {one.evidence.candidate.map.meter}")
        for sentence in one.speaks_for:
            tell(f"  for      {sentence}")
        for sentence in one.speaks_against[:AGAINST_MOST]:
            tell(f"  against  {sentence}")
        more = len(one.speaks_against) - AGAINST_MOST
        if more > 0:
            tell(f"           and {more} more; --json has all")
    for sentence in _equals(picked):
        tell(sentence)


def _equals(picked: "Picked") -> list[str]:
    """Which maps reading cannot tell apart, and in what they differ."""
    from readout.diagnose.picking.differences import differences
    from readout.diagnose.picking.ranking import equals

    found = equals(picked.maps)
    return [
        f"cannot be told apart by reading: {found[0].file} and {other.file} "
        f"{differences(found[0].evidence.candidate.map, other.evidence.candidate.map)}"
        for other in found[1:]
    ]


def next_steps(picked: "Picked", setting: "Setting", port: str, folder: Path) -> list[str]:
    """What to do now."""
    from readout.diagnose.picking.ranking import Verdict, equals

    found = fitting(picked)
    best = found or picked.maps[0]
    file = quote(str(folder / best.file))
    unit = f" --unit-address {setting.unit}"
    beside = f"pipeledger map try {file} {quote(port)}{unit}"
    if found is not None:
        keys = {"meter.map": str(folder / found.file), "line.port": port} | _differing(found, setting)
        options = " ".join(f"--set {quote(f'{key}={value}')}" for key, value in keys.items())
        return [
            f"{best.file} fits. Beside what the display shows: {beside} --display NAME=SHOWN",
            f"then a point file for it: pipeledger point new point.yaml {options}",
        ]
    if equals(picked.maps):
        return [f"several fit alike; the display may tell them apart: {beside} --display NAME=SHOWN"]
    if best.verdict is Verdict.DOES_NOT_FIT:
        return [
            "no map of the folder fits. `pipeledger map draft` makes one of the manual's table; with several "
            "meters on the line, --unit-address says which is meant"
        ]
    return [f"none fits beyond doubt; the nearest beside the display: {beside} --display NAME=SHOWN"]


def _differing(one: "Ranked", setting: "Setting") -> dict[str, Any]:
    """What a point has to say besides the map: settings of the line that are not the map's own."""
    from readout.measuring_point.load import factory_format

    found = one.evidence.candidate.map
    own = factory_format(found)
    keys = {
        f"line.{name}": getattr(setting.format, name)
        for name in ("baud_rate", "parity", "data_bits", "stop_bits")
        if getattr(setting.format, name) != getattr(own, name)
    }
    return keys if setting.unit == found.serial.unit_address else {"meter.unit_address": setting.unit} | keys


def document(
    port: str,
    picked: "Picked",
    setting: "Setting",
    passed_over: "Sequence[tuple[str, str]]",
    steps: "Sequence[str]",
) -> dict[str, Any]:
    """Everything that was found, as JSON types."""
    from readout.cli.line_listen import line_of

    found = fitting(picked)
    return {
        "port": port,
        "line": line_of(setting.format),
        "unit_address": setting.unit,
        "requests": picked.asked,
        "calls_itself": [{"name": name.text, "told_by": name.how} for name in picked.names],
        "fits": None if found is None else found.file,
        "maps": [_map(one) for one in picked.maps],
        "cannot_be_told_apart": _equals(picked),
        "passed_over": [{"file": file, "fault": fault} for file, fault in passed_over],
        "next": list(steps),
    }


def _map(one: "Ranked") -> dict[str, Any]:
    from readout.diagnose.picking.evidence import plain_value

    return {
        "file": one.file,
        "meter": one.evidence.candidate.map.meter,
        "verdict": str(one.verdict),
        "telling_registers": one.evidence.telling,
        "for": list(one.speaks_for),
        "against": list(one.speaks_against),
        "values": [
            {
                "name": each.value.name,
                "registers": each.had.given.value,
                "value": plain_value(each),
                "unit": None if each.reading is None else each.reading.unit,
                "makes_sense_as": None if each.check is None or each.oddity else str(each.check),
                "against": each.oddity or None,
            }
            for each in one.evidence.values
        ],
    }
