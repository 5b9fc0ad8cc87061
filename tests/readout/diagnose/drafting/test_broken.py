"""Tables out of a PDF: rows broken within a cell, columns that nothing but blanks part.

All tables are constructed; how such copies look is common practice, no source.
"""

import pytest

from readout.diagnose.drafting.draft import draft
from readout.diagnose.drafting.table import Column, read_table

BROKEN = """\
Reg.\tDescription\tFormat\tUnit\tR/W
30005\tConsumption
(total, not
resettable)\tUINT32\tkg\tR
30007\tPressure
(abs.)\tFloat\tbar\tR
30009\tReserved
40001\tDamping\tUINT16\ts\tR/W
40002\tMode\tUINT16
\t0 = off
\t1 = on
"""


def test_a_row_that_was_broken_within_a_cell_is_one_again() -> None:
    rows = read_table(BROKEN.encode(), {}).rows
    told = [(row.line, row.get(Column.NAME), row.get(Column.TYPE), row.get(Column.UNIT)) for row in rows[:5]]
    assert told == [
        (2, "Consumption (total, not resettable)", "UINT32", "kg"),
        (5, "Pressure (abs.)", "Float", "bar"),
        (7, "Reserved", "", ""),
        (8, "Damping", "UINT16", "s"),
        (9, "Mode", "UINT16", ""),
    ]
    assert "put together from lines 2 to 4" in draft(read_table(BROKEN.encode(), {}), "Mere 5", "s.json").text


@pytest.mark.parametrize(
    "below",
    [
        "Settings\n",
        "see page 7\tof this\tmanual\tfor\tall\n",
        "\tcontinued\tUINT16\tV\tR\n",
        "30008\tb\tINT16\tV\tR\n",
    ],
    ids=["a heading", "too many cells", "a blank cell", "an address"],
)
def test_a_short_row_stays_short_where_the_next_line_is_none_of_it(below: str) -> None:
    table = read_table(f"Reg.\tName\tFormat\tUnit\tR/W\n30007\ta\tINT16\n{below}".encode(), {})
    assert (table.rows[0].get(Column.NAME), table.rows[0].get(Column.TYPE)) == ("a", "INT16")
    assert table.rows[0].last == 2


PARTED = """\
Register table   Mere 9   function 04
Address   Name                Type     Unit   Scale
      0   Volume flow         REAL     m3/h
      2   Volume, cumulated   UDINT    m3     0,001
      4   Status              WORD
     10   Dew point           INT              0,1
"""


def test_columns_that_blanks_part_are_cut_below_their_headings() -> None:
    """A blank cell in the middle moves nothing: the dew point has a scale and no unit."""
    table = read_table(PARTED.encode(), {})
    columns = (Column.ADDRESS, Column.NAME, Column.TYPE, Column.UNIT, Column.SCALE)
    assert [tuple(row.get(column) for column in columns) for row in table.rows] == [
        ("0", "Volume flow", "REAL", "m3/h", ""),
        ("2", "Volume, cumulated", "UDINT", "m3", "0,001"),
        ("4", "Status", "WORD", "", ""),
        ("10", "Dew point", "INT", "", "0,1"),
    ]
    assert table.above == ("Register table Mere 9 function 04",)


def test_a_cell_between_two_headings_is_refused_with_its_line() -> None:
    text = PARTED + "     11   A name that is far too long for its column   INT   V\n"
    with pytest.raises(
        ValueError, match="line 7: 'A name that is far too long for its column' does not stand"
    ):
        read_table(text.encode(), {})
