"""What meters were found to refuse, remembered beside their map: `MAP.learned.json`.

Only a convenience: without the file, or with one that is not understood or belongs to another version of the
map, everything is learned again. Each meter has its own entry, found by its serial number, or by the
measuring point where that is not known: two meters of one kind may well refuse different things.
"""

import json
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from protocols.modbus.tables import Table
from readout.clock import iso
from readout.plan.refusals import Refusal, Refusals

#: Version of the file's meaning.
FORMAT = 1
#: One process writes one file at a time; between processes the last writer wins, and a reader sees one whole.
_writing = threading.Lock()


@dataclass(frozen=True, slots=True)
class Known:
    """One meter's entry. `serial` None: only the measuring point is known at which it was read."""

    point: str
    serial: str | None
    refusals: Refusals


def learned_file(map_file: Path) -> Path:
    """The file beside a map: `mere-5.learned.json` for `mere-5.yaml`."""
    return map_file.with_name(f"{map_file.stem}.learned.json")


def load(map_file: Path, map_sha256: str) -> tuple[list[Known], str]:
    """What is remembered for the map with that hash, and a sentence where a file is there and is no use."""
    file = learned_file(map_file)
    again = "It is ignored, and what the meters refuse is learned again."
    try:
        found = json.loads(file.read_bytes())
        if found["format"] != FORMAT:
            return [], f"{file}: This file is of format {found['format']}, not {FORMAT}. {again}"
        if found["map_sha256"] != map_sha256:
            return [], f"{file}: {map_file.name} has been changed since this was learned. {again}"
        return [_known(meter) for meter in found["meters"]], ""
    except FileNotFoundError:
        return [], ""
    except OSError as error:
        return [], f"{file}: This file cannot be read ({error.strerror}). {again}"
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, OverflowError):
        return [], f"{file}: This file is not as it was written. {again}"


class Remembered:
    """The memory of the meter at a measuring point. `serial` None: it is not known yet which one that is.

    `say` is told once where the file is no use, and once where it cannot be written.
    """

    def __init__(
        self, map_file: Path, map_sha256: str, point: str, serial: str | None, say: Callable[[str], None]
    ) -> None:
        self._map_file, self._map_sha256, self._point, self._say = map_file, map_sha256, point, say
        self._cannot = False
        meters, fault = load(map_file, map_sha256)
        if fault:
            say(fault)
        fit = [one for one in meters if serial is not None and one.serial == serial]
        fit += [one for one in meters if one.point == point and (serial is None or one.serial is None)]
        self.serial = fit[0].serial if fit and serial is None else serial
        self.refusals = fit[0].refusals if fit else Refusals()

    def recall(self, serial: str) -> Refusals | None:
        """The meter has told its serial number: what is known of that one, None to go on with what was."""
        was, self.serial = self.serial, serial
        if was in (None, serial):
            return None
        meters, _ = load(self._map_file, self._map_sha256)
        return next((one.refusals for one in meters if one.serial == serial), Refusals())

    def keep(self, refusals: Refusals) -> None:
        """Write what is known now; where that cannot be written, it is known to this run."""
        from storage.durable import Disk
        from storage.errors import StorageError

        file = learned_file(self._map_file)
        with _writing:
            meters, _ = load(self._map_file, self._map_sha256)
            others = [one for one in meters if one.point != self._point and not self._is_same(one)]
            meters = [*others, Known(self._point, self.serial, refusals)]
            try:
                disk = Disk(file.parent)
                aside = disk.write_aside(file.name, self._text(meters).encode(), file.name)
                disk.place(aside, file, file.name)
            except (StorageError, OSError) as error:
                if not self._cannot:
                    self._cannot = True
                    self._say(f"What the meter refuses is known until this ends, and then forgotten: {error}")

    def _is_same(self, other: Known) -> bool:
        return self.serial is not None and other.serial == self.serial

    def _text(self, meters: Iterable[Known]) -> str:
        document = {
            "format": FORMAT,
            "map": self._map_file.name,
            "map_sha256": self._map_sha256,
            "meters": [
                {
                    "point": known.point,
                    "serial_number": known.serial,
                    "refused": [_entry(one) for one in known.refusals.all],
                }
                for known in sorted(meters, key=lambda known: known.point)
                if known.refusals.all
            ],
        }
        return json.dumps(document, ensure_ascii=False, indent=1) + "\n"


def _entry(one: Refusal) -> dict[str, Any]:
    return {
        "table": str(one.table),
        "start": one.start,
        "count": one.count,
        "words_per_address": one.words,
        "exception": one.exception,
        "values": list(one.values),
        "learned": iso(one.learned),
        "asked": iso(one.asked),
    }


def _refusal(entry: Mapping[str, Any]) -> Refusal:
    """ValueError, KeyError or TypeError where the entry was not written by `_entry`."""
    numbers = [entry[key] for key in ("start", "count", "words_per_address")]
    exception, values = entry["exception"], tuple(entry["values"])
    whole = [number for number in (*numbers, exception) if number is not None]
    if not all(type(number) is int for number in whole) or not all(isinstance(name, str) for name in values):
        raise TypeError
    start, count, words = numbers
    if not (0 <= start < start + count <= 1 << 16 and words in (1, 2) and 0 <= (exception or 0) <= 255):
        raise ValueError
    moments = [datetime.fromisoformat(entry[key]).timestamp() for key in ("learned", "asked")]
    return Refusal(Table(entry["table"]), start, count, words, exception, values, *moments)


def _known(meter: Mapping[str, Any]) -> Known:
    point, serial = meter["point"], meter["serial_number"]
    if not isinstance(point, str) or not isinstance(serial, str | None):
        raise TypeError
    return Known(point, serial, Refusals(tuple(map(_refusal, meter["refused"]))))
