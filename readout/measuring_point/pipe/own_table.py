"""The user's own list of pipes: a CSV file with a row a size."""

import csv
import io
from collections.abc import Iterator
from decimal import Decimal, InvalidOperation

from protocols.register_map.faults import Report, Spot, quoted
from readout.measuring_point.pipe.standards import PipeSize

COLUMNS = ("dn", "outside_mm", "wall_mm")
_HEAD = ",".join(COLUMNS)
_LONGEST = 1 << 20  # bytes; a list of pipes has a few hundred rows


def read_table(data: bytes, standard: str, report: Report) -> dict[int, PipeSize]:
    """The pipes of a list by DN; what is wrong is told by line. `standard` names them.

    The file: UTF-8, a head line `dn,outside_mm,wall_mm`, decimal points, lengths in mm.
    """
    if len(data) > _LONGEST:
        report.fault(Spot(1, 1), f"{len(data)} bytes; a list of pipes has at most {_LONGEST}")
        return {}
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        report.fault(Spot(1, 1), "this is no UTF-8 text; save the list as CSV in UTF-8")
        return {}
    rows = csv.reader(io.StringIO(text))
    head = [word.strip() for word in next(rows, [])]
    if tuple(head) != COLUMNS:
        report.fault(Spot(1, 1), f"the head line is {quoted(','.join(head))}; write {_HEAD}")
        return {}
    return {size.dn: size for size in _sizes(rows, standard, report)}


def _sizes(rows: Iterator[list[str]], standard: str, report: Report) -> Iterator[PipeSize]:
    seen: set[int] = set()
    for line, cells in enumerate(rows, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        size = _size(cells, standard)
        if isinstance(size, str):
            report.fault(Spot(line, 1), size)
        elif size.dn in seen:
            report.fault(Spot(line, 1), f"DN {size.dn} stands in the list twice; which one is it?")
        else:
            seen.add(size.dn)
            yield size


def _size(cells: list[str], standard: str) -> PipeSize | str:
    """A row, or what is wrong with it."""
    written = quoted(",".join(cells))
    if len(cells) != len(COLUMNS):
        return f"{written} has {len(cells)} cells; write {_HEAD}, such as 50,60.3,3.6"
    try:
        dn, outside, wall = (Decimal(cell.strip()) for cell in cells)
    except InvalidOperation:
        return f"{written} holds something that is no number; write {_HEAD}, such as 50,60.3,3.6"
    if not (dn.is_finite() and outside.is_finite() and wall.is_finite()) or dn != int(dn):
        return f"{written}: dn is a whole number, the others are lengths in mm"
    if wall <= 0 or 2 * wall >= outside or dn <= 0:
        return f"{written}: two walls of {wall} mm leave no bore in {outside} mm"
    return PipeSize(standard, int(dn), outside, wall)
