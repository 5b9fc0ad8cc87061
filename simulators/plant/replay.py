"""Values from a table instead of a plant: a real log, played back through a simulated meter.

    seconds,flow,pressure        `seconds` since the meter was switched on; without it, one row a second
    0,412.5,6.98                 a row holds until the next one
    10,,7.01                     an empty cell: not available
    15,398.0,7.00                the last row holds for ever

Readings without a column come from the plant.
"""

import bisect
import csv
import difflib
import io
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from protocols.errors import RequestError
from protocols.register_map.model import Kind, RegisterMap, Value
from protocols.values.encode import encode
from simulators.errors import WrongValues
from simulators.plant.source import Moment, Quantity, Source

SECONDS = "seconds"

#: Kinds whose encoding has a form of its own for "no number".
_FLOATS = (Kind.FLOAT32, Kind.FLOAT64)
#: Kinds that a table of numbers cannot hold.
_NOT_REPLAYED = (Kind.UNIX_TIME, Kind.CALENDAR, Kind.CRC16)


@dataclass(frozen=True, slots=True)
class ReplayedValues:
    """The rows of one table; see `Source`. `starts` are the seconds from which each row holds, rising."""

    starts: tuple[float, ...]
    rows: tuple[dict[str, Quantity], ...]
    others: Source

    def quantity(self, value: Value, unit: str | None, at: Moment) -> Quantity:
        """See `Source`. Before the first row's time the first row holds."""
        row = self.rows[max(0, bisect.bisect_right(self.starts, at.running) - 1)]
        return row[value.name] if value.name in row else self.others.quantity(value, unit, at)


def read_values(data: bytes, file: str, register_map: RegisterMap, others: Source) -> ReplayedValues:
    """The table in `data` (UTF-8, comma separated), checked against the map.

    WrongValues with every fault, one `file:line: sentence` each.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise WrongValues(f"{file}:{line}: This is not UTF-8 text; save the table as UTF-8.") from error
    reader = _TableReader(file, register_map)
    try:
        for cells in (lines := csv.reader(io.StringIO(text, newline=""), strict=True)):
            reader.take(cells, lines.line_num)
    except csv.Error as error:
        reader.fault(lines.line_num, f"This line cannot be split into cells ({error}).")
    if reader.header is None:
        reader.fault(1, "The file is empty; its first line names the readings.")
    elif not reader.rows and not reader.faults:
        reader.fault(1, "There is no row below the names.")
    if reader.faults:
        raise WrongValues("\n".join(reader.faults))
    return ReplayedValues(tuple(reader.starts), tuple(reader.rows), others)


class _TableReader:
    """Takes a table line by line and keeps what is wrong with it."""

    def __init__(self, file: str, register_map: RegisterMap) -> None:
        self.file = file
        self.readings = {value.name: value for value in register_map.readings}
        self.header: list[str] | None = None
        self.starts: list[float] = []
        self.rows: list[dict[str, Quantity]] = []
        self.faults: list[str] = []

    def fault(self, line: int, sentence: str) -> None:
        self.faults.append(f"{self.file}:{line}: {sentence}")

    def take(self, cells: list[str], line: int) -> None:
        if not cells:
            return  # a blank line is no row; in a table of one column, "" is an empty cell
        if self.header is None:
            self._names([cell.strip() for cell in cells], line)
        elif len(cells) != len(self.header):
            self.fault(line, f"There are {len(cells)} cells, the first line names {len(self.header)}.")
        else:
            self._row(cells, line)

    def _names(self, names: list[str], line: int) -> None:
        self.header = names
        for place, name in enumerate(names):
            if name in names[:place]:
                self.fault(line, f"'{name}' names two columns.")
            elif name == SECONDS and place > 0:
                self.fault(line, f"'{SECONDS}' must be the first column.")
            elif name != SECONDS and name not in self.readings:
                near = difflib.get_close_matches(name, self.readings, 1)
                hint = f"did you mean '{near[0]}'?" if near else f"it has {', '.join(self.readings)}."
                self.fault(line, f"The map has no reading '{name}'; {hint}")
            elif name != SECONDS and self.readings[name].number.kind in _NOT_REPLAYED:
                self.fault(
                    line, f"'{name}' is a {self.readings[name].number.kind}, which cannot be replayed."
                )

    def _row(self, cells: list[str], line: int) -> None:
        assert self.header is not None
        start = float(len(self.rows))
        row: dict[str, Quantity] = {}
        for name, cell in zip(self.header, cells, strict=True):
            if name == SECONDS:
                start = self._start(cell.strip(), line)
            elif name in self.readings:
                row[name] = self._cell(self.readings[name], cell.strip(), line)
        if self.starts and start <= self.starts[-1]:
            self.fault(line, f"{start:g} s does not come after {self.starts[-1]:g} s in the row before.")
        self.starts.append(start)
        self.rows.append(row)

    def _start(self, cell: str, line: int) -> float:
        number = _decimal(cell)
        if number is None or number < 0:
            self.fault(line, f"'{cell}' is not a number of seconds since the start.")
            return self.starts[-1] + 1 if self.starts else 0.0
        return float(number)

    def _cell(self, value: Value, cell: str, line: int) -> Quantity:
        kind = value.number.kind
        if kind is Kind.TEXT:
            return cell
        if not cell:
            absent = value.not_available
            if kind not in _FLOATS and not absent.numbers and not absent.words:
                self.fault(line, f"'{value.name}' is empty, but the map gives it no not_available value.")
            return None
        for number, word in value.codes.items():
            if cell == word:
                return number
        found = _decimal(cell)
        if found is None:
            self.fault(line, f"'{cell}' is not a number for '{value.name}'; leave the cell empty for none.")
            return None
        try:
            encode(value, found)
        except RequestError as error:
            self.fault(line, str(error))
        return found


def _decimal(cell: str) -> Decimal | None:
    try:
        number = Decimal(cell)
    except InvalidOperation:
        return None
    return number if number.is_finite() and "_" not in cell else None
