"""What meters were found to refuse, remembered beside their map: `MAP.learned.json`.

Only a convenience: without the file, or with one that is not understood or belongs to another version of the
map, everything is learned again. Meters with a known serial number are kept apart.
"""

import json
import threading
from collections.abc import Callable, Mapping
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

#: What is known of each meter, by its serial number; None: meters whose number is not known.
Meters = dict[str | None, Refusals]


def learned_file(map_file: Path) -> Path:
    """The file beside a map: `mere-5.learned.json` for `mere-5.yaml`."""
    return map_file.with_name(f"{map_file.stem}.learned.json")


def load(map_file: Path, map_sha256: str) -> tuple[Meters, str]:
    """What is remembered for the map with that hash, and a sentence where a file is there and is no use."""
    file = learned_file(map_file)
    again = "It is ignored, and what the meters refuse is learned again."
    try:
        found = json.loads(file.read_bytes())
        if found["format"] != FORMAT:
            return {}, f"{file}: This file is of format {found['format']}, not {FORMAT}. {again}"
        if found["map_sha256"] != map_sha256:
            return {}, f"{file}: {map_file.name} has been changed since this was learned. {again}"
        return {
            _serial(meter): Refusals(tuple(map(_refusal, meter["refused"]))) for meter in found["meters"]
        }, ""
    except FileNotFoundError:
        return {}, ""
    except OSError as error:
        return {}, f"{file}: This file cannot be read ({error.strerror}). {again}"
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, OverflowError):
        return {}, f"{file}: This file is not as it was written. {again}"


class Remembered:
    """The memory of one meter. `serial` None: it is not known which one of its kind it is.

    `say` is told once where the file is no use, and once where it cannot be written.
    """

    def __init__(
        self, map_file: Path, map_sha256: str, serial: str | None, say: Callable[[str], None]
    ) -> None:
        self.serial = serial
        self._map_file, self._map_sha256, self._say = map_file, map_sha256, say
        self._cannot = False
        meters, fault = load(map_file, map_sha256)
        if fault:
            say(fault)
        self.refusals = meters.get(serial, meters.get(None, Refusals()))

    def identify(self, serial: str) -> Refusals | None:
        """The meter has told its serial number: what is known of that one, None where nothing is."""
        if serial == self.serial:
            return None
        self.serial = serial
        return load(self._map_file, self._map_sha256)[0].get(serial)

    def keep(self, refusals: Refusals) -> None:
        """Write what is known now; where that cannot be written, it is known to this run."""
        from storage.durable import Disk
        from storage.errors import StorageError

        file = learned_file(self._map_file)
        with _writing:
            meters, _ = load(self._map_file, self._map_sha256)
            meters[self.serial] = refusals
            try:
                disk = Disk(file.parent)
                aside = disk.write_aside(file.name, self._text(meters).encode(), file.name)
                disk.place(aside, file, file.name)
            except (StorageError, OSError) as error:
                if not self._cannot:
                    self._cannot = True
                    self._say(f"What the meter refuses is known until this ends, and then forgotten: {error}")

    def _text(self, meters: Mapping[str | None, Refusals]) -> str:
        kept = sorted(meters.items(), key=lambda meter: meter[0] or "")
        document = {
            "format": FORMAT,
            "map": self._map_file.name,
            "map_sha256": self._map_sha256,
            "meters": [
                {"serial_number": serial, "refused": [_entry(one) for one in refusals.all]}
                for serial, refusals in kept
                if refusals.all
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


def _serial(meter: Mapping[str, Any]) -> str | None:
    serial = meter["serial_number"]
    if serial is not None and not isinstance(serial, str):
        raise TypeError
    return serial
