"""The table as one page of HTML to print on A4 and to tick off: no script, no font, no picture beside it."""

from collections.abc import Sequence
from pathlib import Path

from protocols.units import printed as unit_printed
from readout.plan.blocks import Block
from readout.plan.listing.listing import Listing
from readout.plan.listing.rows import Rows

#: What the map's numbering means, for whoever holds the manual.
_NUMBERING = {
    "from 0": "from 0: the manual prints addresses as they are sent",
    "from 1": "from 1: the manual counts the first register as 1, one more than is sent",
    "table digit": "with the table digit: 30001 is input register 0 on the wire, 40001 holding register 0",
    "from 0, large numbers meant": "from 0: the manual prints addresses as they are sent, large ones too",
}


def page_html(found: Listing, file: str, made: str, refused: Sequence[str] = ()) -> str:
    """The page; `file` is the map's name, `made` when it was written, `refused` what a meter did not give."""
    from jinja2 import Environment, StrictUndefined

    rows = Rows(found.map)

    def printed(block: Block) -> str:
        return rows.printed(block.table, block.start, block.count)

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    environment.filters["delivered"] = found.reads_of
    environment.filters["units"] = unit_printed
    template = (Path(__file__).parent / "page.html").read_text(encoding="utf-8")
    return environment.from_string(template).render(
        found=found,
        file=file,
        made=made,
        numbering=_NUMBERING[found.map.wire.numbering],
        printed=printed,
        refused=refused,
    )
