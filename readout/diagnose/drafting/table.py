"""A copied register table as rows of cells under known headings, whatever program it was copied from."""

import csv
import io
import re
from dataclasses import dataclass
from enum import Enum


class Column(Enum):
    """What a column of a register table tells; the value is the word an option names it by."""

    ADDRESS = "address"
    NAME = "name"
    TYPE = "type"
    LENGTH = "length"
    UNIT = "unit"
    SCALE = "scale"
    ACCESS = "access"
    FUNCTION = "function"
    TABLE = "table"
    RANGE = "range"
    CODES = "codes"


#: Wordings of headings, in small letters and digits only. Common practice of manuals, no source.
HEADINGS = {
    Column.ADDRESS: "address addr registeraddress register reg regno regnr registerno registernr "
    "registernumber registernummer adresse registeradresse modbusaddress modbusadresse modbusregister "
    "startaddress startadresse offset",
    Column.NAME: "name parameter description designation value variable signal quantity bezeichnung "
    "beschreibung messwert messgrösse messgröße größe grösse meaning registername text",
    Column.TYPE: "type datatype format dataformat typ datentyp datenformat encoding",
    Column.LENGTH: "length len size registers words numberofregisters noofregisters count länge anzahl "
    "anzahlregister anzahlderregister wörter quantityofregisters",
    Column.UNIT: "unit units uom einheit einheiten dimension",
    Column.SCALE: "scale scaling factor multiplier scalefactor resolution faktor skalierung "
    "skalierungsfaktor auflösung",
    Column.ACCESS: "access rw readwrite zugriff lesenschreiben attribute",
    Column.FUNCTION: "function functioncode fc fcode code funktion funktionscode "
    "funktionscodes functioncodes",
    Column.TABLE: "table registertype objecttype object tabelle registerart objekttyp",
    Column.RANGE: "range bereich wertebereich messbereich measuringrange valuerange",
    Column.CODES: "codes values states remarks remark notes note comment bemerkung bemerkungen kommentar "
    "werte zustände",
}
_COLUMN_OF = {word: column for column, words in HEADINGS.items() for word in words.split()}
_DELIMITERS = ("\t", ";", ",", "|")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the line of the file it begins on, from 1, and what stands in the known columns."""

    line: int
    cells: dict[Column, str]

    def get(self, column: Column) -> str:
        """The cell, or nothing where the table has no such column."""
        return self.cells.get(column, "")


@dataclass(frozen=True, slots=True)
class Table:
    """The rows below the headings, and the headings that nobody knew."""

    rows: tuple[Row, ...]
    unknown: tuple[str, ...]
    known: frozenset[Column]


def read_table(data: bytes, named: dict[Column, str]) -> Table:
    """The table in a file of any common encoding and delimiter; `named` gives headings of our own.

    Raises:
        ValueError: no line holds the headings of an address and of a name or type.
    """
    text = _text(data)
    best: tuple[int, int, list[tuple[int, list[str]]], dict[Column, int]] | None = None
    for delimiter in _DELIMITERS:
        lines = _split(text, delimiter)
        for index, (_, cells) in enumerate(lines[:50]):
            columns = _columns(cells, named)
            if Column.ADDRESS in columns and len(columns) > (best[0] if best else 1):
                best = (len(columns), index, lines, columns)
    if best is None:
        raise ValueError(
            "no line has the heading of an address and of a further column; name them, "
            'as in --column address="Reg. No." --column name=Parameter'
        )
    _, index, lines, columns = best
    taken = set(columns.values())
    unknown = tuple(c.strip() for i, c in enumerate(lines[index][1]) if c.strip() and i not in taken)
    rows = []
    for line, cells in lines[index + 1 :]:
        found = {c: " ".join(cells[i].split()) for c, i in columns.items() if i < len(cells)}
        if any(found.values()):
            rows.append(Row(line, found))
    return Table(tuple(rows), unknown, frozenset(columns))


def plain(text: str) -> str:
    """A heading in small letters and digits only, what stands in brackets left out."""
    return re.sub(r"[\W_]+", "", re.sub(r"[(\[].*?[)\]]", "", text)).casefold()


def _columns(cells: list[str], named: dict[Column, str]) -> dict[Column, int]:
    columns: dict[Column, int] = {}
    wanted = {word.strip().casefold(): column for column, word in named.items()}
    for index, cell in enumerate(cells):
        column = wanted.get(cell.strip().casefold())
        if column is not None:
            columns.setdefault(column, index)
    for index, cell in enumerate(cells):
        column = _COLUMN_OF.get(plain(cell)) or _COLUMN_OF.get(cell.strip().casefold().replace("/", ""))
        if column is not None and column not in named and index not in columns.values():
            columns.setdefault(column, index)
    return columns


def _text(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):  # a spreadsheet's "Unicode text"
        return data.decode("utf-16", "replace").replace("\0", "")
    try:
        return data.decode("utf-8-sig").replace("\0", "")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace").replace("\0", "")


def _split(text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    """Rows with the line each begins on; none where this delimiter cannot be the file's."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    rows, begins = [], 1
    try:
        for cells in reader:
            rows.append((begins, cells))
            begins = reader.line_num + 1
    except csv.Error:  # a cell beyond 128 KiB: a quote that is never closed
        return []
    return rows
