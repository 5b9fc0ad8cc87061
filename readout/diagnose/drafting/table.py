"""A copied register table as rows of cells under known headings, whatever program it was copied from."""

import csv
import io
import re
import unicodedata
from collections import Counter
from dataclasses import dataclass, field
from enum import Enum

from readout.diagnose.drafting.broken import Line, aligned, mended, parted_by_blanks
from readout.diagnose.drafting.cells import addresses


class Column(Enum):
    """What a column of a register table tells; the value is the word an option names it by."""

    ADDRESS = "address"
    OTHER_ADDRESS = "other-address"
    NAME = "name"
    TYPE = "type"
    LENGTH = "length"
    UNIT = "unit"
    SCALE = "scale"
    DIVISOR = "divisor"
    OFFSET = "offset"
    DECIMALS = "decimals"
    ACCESS = "access"
    FUNCTION = "function"
    TABLE = "table"
    RANGE = "range"
    LOWEST = "lowest"
    HIGHEST = "highest"
    CODES = "codes"
    ORDER = "order"
    NOT_AVAILABLE = "not-available"
    DEFAULT = "default"


#: Wordings of headings, in small letters and digits only, accents taken off; English, German, French. Common
#: practice of manuals, no source.
HEADINGS = {
    Column.ADDRESS: "address addr adr registeraddress register reg regno regnr registerno registernr "
    "regadr registernumber registernummer adresse registeradresse modbusaddress modbusadresse "
    "modbusregister modbusadr startaddress startadresse startregister offset registeroffset dataaddress "
    "datenadresse registre adresseregistre adressemodbus adressedebut numeroregistre noregistre "
    "adressedepart",
    Column.NAME: "signalname pointname name parameter description designation value variable signal "
    "quantity bezeichnung "
    "beschreibung messwert messgrosse grosse meaning registername text parametre grandeur libelle nom "
    "bedeutung wert benennung datenpunkt datapoint dataitem item mesure valeur registerdescription",
    Column.TYPE: "type datatype format dataformat typ datentyp datenformat encoding kodierung codierung "
    "typededonnees typedonnees typedonnee variabletype registerformat vartype",
    Column.LENGTH: "length len size registers words numberofregisters noofregisters count lange anzahl "
    "anzahlregister anzahlderregister worter quantityofregisters laenge numberofwords wortanzahl longueur "
    "taille nombre nombrederegistres nbregistres mots bytes bits width qty",
    Column.UNIT: "unit units uom einheit einheiten dimension unite unites engineeringunit masseinheit",
    Column.SCALE: "scale scaling factor multiplier scalefactor resolution faktor skalierung "
    "skalierungsfaktor auflosung facteur echelle facteurdechelle multiplicateur multiplikator "
    "facteurechelle gain mult mul",
    Column.DIVISOR: "divisor divider teiler diviseur dividedby",
    Column.OFFSET: "offsetvalue valueoffset zerooffset versatz nullpunktversatz decalage addend",
    Column.DECIMALS: "decimals decimalplaces decimalpoint nachkommastellen dezimalstellen decimales",
    Column.ACCESS: "access rw readwrite zugriff lesenschreiben attribute acces lectureecriture accessmode "
    "zugriffsart accesstype permission ls le",
    Column.FUNCTION: "function functioncode fn fc fcode code funktion funktionscode funktionscodes "
    "functioncodes fonction codefonction codefonctions readfunction readfc lesefunktion",
    Column.TABLE: "table registertype objecttype object tabelle registerart objekttyp typederegistre "
    "registertyp typeregistre registertable",
    Column.RANGE: "range bereich wertebereich messbereich measuringrange valuerange plage etendue "
    "plagedemesure plagedevaleurs limits grenzen minmax validrange",
    Column.LOWEST: "min minimum lowest minvalue minwert lowlimit untergrenze mini valeurmin",
    Column.HIGHEST: "max maximum highest maxvalue maxwert highlimit obergrenze maxi valeurmax",
    Column.CODES: "codes values states remarks remark notes note comment bemerkung bemerkungen kommentar "
    "werte zustande remarques remarque commentaire commentaires valeurs hinweis hinweise comments "
    "anmerkung observation etats enumeration",
    Column.ORDER: "order wordorder byteorder endianness endian wortreihenfolge bytereihenfolge reihenfolge "
    "ordredesmots ordredesoctets",
    Column.NOT_AVAILABLE: "notavailable invalid invalidvalue errorvalue notavailablevalue ungultig "
    "fehlerwert ungultigerwert valeurinvalide valeurdefaut nan nodata",
    Column.DEFAULT: "default defaultvalue factorysetting factorydefault werkseinstellung standardwert "
    "voreinstellung vorgabe initialvalue valeurpardefaut reglageusine pardefaut",
}
_COLUMN_OF = {word: column for column, words in HEADINGS.items() for word in words.split()}
_DELIMITERS = ("\t", ";", ",", "|")
#: A row with headings of so many columns is another row of headings.
_HEADINGS_AGAIN = 3
#: A cell beyond this is no cell of a register table but a quote that is not closed; characters.
_LONGEST_CELL = 1000
#: How files begin that are no text, and what they are.
_NO_TEXT = {b"PK\x03\x04": "a workbook", b"\xd0\xcf\x11\xe0": "a workbook", b"%PDF": "a PDF"}
#: Words of a heading that say how its numbers are written, not what they are.
_HOW = re.compile(
    r"\b(?:hexadecimal|hex|dec|decimal|hexadezimal|dezimal|hexa|décimal|0-based|1-based)\b", re.I
)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the line of the file it begins on, from 1, and what stands in the known columns.

    `last` is the line on which a row ends that was broken over several.
    """

    line: int
    cells: dict[Column, str]
    last: int = 0

    def get(self, column: Column) -> str:
        """The cell, or nothing where the table has no such column."""
        return self.cells.get(column, "")


@dataclass(frozen=True, slots=True)
class Table:
    """The rows below the headings, the headings that nobody knew, those of the known columns as copied.

    `above`: what stands above the headings, a line each. `code_page`: the old one that its letters make sense
    in, where it is neither Unicode nor cp1252. `decimals`: whether some scale is 0 or a digit from 2 on.
    """

    rows: tuple[Row, ...]
    unknown: tuple[str, ...]
    known: frozenset[Column]
    headings: dict[Column, str] = field(default_factory=dict)
    above: tuple[str, ...] = ()
    code_page: str = ""
    decimals: bool = False

    def says(self, column: Column, *words: str) -> bool:
        """Whether the heading of a column has one of the words, such as `hex`."""
        heading = self.headings.get(column, "").casefold()
        return any(word in heading for word in words)


def read_table(data: bytes, named: dict[Column, str]) -> Table:
    """The table in a file of any common encoding and delimiter; `named` gives headings of our own.

    Raises:
        ValueError: it is no text, or no line holds the headings of an address and of a further column.
    """
    for begins, what in _NO_TEXT.items():
        if data.startswith(begins):
            raise ValueError(
                f"this is {what}; copy its table into a sheet, headings and all, and save it as CSV"
            )
    decoded, code_page = _decoded(data)
    text = unicodedata.normalize("NFC", decoded)  # some programs copy a letter and its accent as two
    index, lines, columns = _with_headings(text, named)
    taken = set(columns.values())
    head = lines[index][1]
    unknown = tuple(" ".join(c.split()) for i, c in enumerate(head) if c.strip() and i not in taken)
    unnamed = sorted({i for _, cells in lines[index + 1 :] for i in _filled(cells, head)})
    unknown += tuple(f"column {i + 1}, which has no heading" for i in unnamed)
    columns = _with_offsets(columns, head, [cells for _, cells in lines[index + 1 :]])
    headings = {column: " ".join(head[i].split()) for column, i in columns.items()}
    rows = []
    known = set(columns)
    below = mended(lines[index + 1 :], len(head) if columns[Column.ADDRESS] == 0 else 0)
    for place, (line, last, cells) in enumerate(below):
        again = _columns(cells, named)
        if Column.ADDRESS in again and len(again) >= _HEADINGS_AGAIN:  # as on each page of a manual, or
            columns = _with_offsets(
                again, cells, [one for _, _, one in below[place + 1 :]]
            )  # for its next table, whose order may be another
            known |= set(columns)
            continue
        found = {c: _cell(cells[i], c) for c, i in columns.items() if i < len(cells)}
        if any(map(_says, found.values())):
            rows.append(Row(line, found, last))
    above = [" ".join(" ".join(cells).split()) for _, cells in lines[:index]]
    decimals = any(re.fullmatch(r"[02-9]", row.get(Column.SCALE).strip()) for row in rows)
    return Table(
        tuple(rows), unknown, frozenset(known), headings, tuple(filter(None, above)), code_page, decimals
    )


def _with_headings(text: str, named: dict[Column, str]) -> tuple[int, list[Line], dict[Column, int]]:
    """The place of the line of headings, the lines cut as it is, and its columns.

    Raises:
        ValueError: there is no such line.
    """
    best: tuple[int, int, list[Line], dict[Column, int]] | None = None
    for delimiter in _DELIMITERS:
        lines = _split(text, delimiter)
        for index, (_, cells) in enumerate(lines[:50]):
            columns = _columns(cells, named)
            if Column.ADDRESS in columns and len(columns) > (best[0] if best else 1):
                best = (len(columns), index, lines, columns)
    if best is not None:
        return best[1:]
    for number, cells in parted_by_blanks(text):
        columns = _columns(cells, named)
        if Column.ADDRESS in columns and len(columns) >= _HEADINGS_AGAIN:
            above = [(one, [line]) for one, line in enumerate(text.splitlines()[: number - 1], 1)]
            return number - 1, [*above, *aligned(text, number)], columns
    raise ValueError(
        "no line has the heading of an address and of a further column, parted by tabs, semicolons, "
        'commas, | or several blanks; name them, as in --column address="Reg. No." --column name=Parameter'
    )


def _with_offsets(columns: dict[Column, int], head: list[str], rows: list[list[str]]) -> dict[Column, int]:
    """The columns; a second `offset` is what is added to a value, unless it follows the addresses."""
    other = columns.get(Column.OTHER_ADDRESS)
    if other is None or plain(head[other]) != "offset":
        return columns
    pairs = [
        (addresses(cells[columns[Column.ADDRESS]]), addresses(cells[other]))
        for cells in rows
        if len(cells) > max(other, columns[Column.ADDRESS])
    ]
    apart = Counter((one.first - two.first) % 10_000 for one, two in pairs if one and two)
    if apart and apart.most_common(1)[0][1] > max(1, apart.total() // 2):
        return columns
    return {Column.OFFSET if one is Column.OTHER_ADDRESS else one: i for one, i in columns.items()}


def _filled(cells: list[str], head: list[str]) -> list[int]:
    """Places of cells that say something where the headings say nothing."""
    return [i for i, cell in enumerate(cells) if cell.strip() and (i >= len(head) or not head[i].strip())]


def _says(cell: str) -> bool:
    """Whether a cell holds more than a ruled line, as below the headings of some copied tables."""
    return re.fullmatch(r"[-=:+|\s]*", cell) is None


def _cell(text: str, column: Column) -> str:
    """A cell on one line; lines within a list of codes or remarks stay apart."""
    if column in (Column.CODES, Column.RANGE):
        text = re.sub(r"[;,]?\s*[\r\n]+\s*", "; ", text.strip())
    line = " ".join(text.split())
    return line if len(line) <= _LONGEST_CELL else f"{line[:_LONGEST_CELL]}…"


def plain(text: str) -> str:
    """A heading in small letters and digits only, what stands in brackets and all accents left out."""
    word = _HOW.sub("", re.sub(r"[(\[].*?[)\]]", "", text))
    word = unicodedata.normalize("NFKD", word.casefold())
    return re.sub(r"[\W_]+", "", "".join(one for one in word if not unicodedata.combining(one)))


def _columns(cells: list[str], named: dict[Column, str]) -> dict[Column, int]:
    columns: dict[Column, int] = {}
    wanted = {word.strip().casefold(): column for column, word in named.items()}
    for index, cell in enumerate(cells):
        column = wanted.get(cell.strip().casefold())
        if column is not None:
            columns.setdefault(column, index)
    for index, cell in enumerate(cells):
        column = _COLUMN_OF.get(plain(cell)) or _COLUMN_OF.get(cell.strip().casefold().replace("/", ""))
        if column is None or column in named or index in columns.values():
            continue
        if column is Column.ADDRESS and column in columns:  # manuals print the register and what is sent
            column = Column.OTHER_ADDRESS
        if column is Column.NAME and column in columns:  # a description beside the name holds remarks
            column = Column.CODES
        columns.setdefault(column, index)
    return columns


#: Code pages of files that are no Unicode: of spreadsheets, of a command window's copy, of old Macs. Where
#: two make as much sense, the first counts.
_CODE_PAGES = ("cp1252", "cp850", "mac_roman")
_EXPECTED = frozenset("äöüÄÖÜßéèàùâêîôûçëïáíóúñæøå°²³µ")
_UNITS = re.compile(r"°[CF]\b|m[²³]")


def _decoded(data: bytes) -> tuple[str, str]:
    """The table as text, and its code page where that was guessed from the letters that came of it."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):  # a spreadsheet's "Unicode text"
        return data.decode("utf-16", "replace").replace("\0", ""), ""
    try:
        return data.decode("utf-8-sig").replace("\0", ""), ""
    except UnicodeDecodeError:
        texts = {page: data.decode(page, "replace").replace("\0", "") for page in _CODE_PAGES}
    page = max(texts, key=lambda one: _sense(texts[one]))
    return texts[page], "" if page == _CODE_PAGES[0] else page


def _sense(text: str) -> int:
    """How much sense the letters beyond ASCII make in a register table; higher is better."""
    beyond = [one for one in text if ord(one) > 127]
    expected = sum(one in _EXPECTED for one in beyond)
    return 2 * expected - len(beyond) + 3 * len(_UNITS.findall(text))


def _split(text: str, delimiter: str) -> list[Line]:
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
