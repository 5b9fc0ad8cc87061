"""The warning where new rows would come from another map than the one by which kept rows were decoded."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from readout.cli.output import say

if TYPE_CHECKING:
    from readout.daemon.points import PointToRecord
    from readout.sealing.otherwise import Another

#: Readings that a warning names; of more only the number is told.
_MOST_NAMED = 3


def warn_of_another_map(
    archive: Path, points: "Iterable[PointToRecord]", source: str, speak: Callable[[str], None] = say
) -> None:
    """One sentence a point whose kept rows of this source were decoded otherwise than new ones will be."""
    from readout.sealing.otherwise import by_another_map

    by_name = {point.name: point for point in points}
    others = by_another_map(archive, source, {name: point.map for name, point in by_name.items()})
    for name, found in others.items():
        speak(f"{name}: {_sentence(found, archive, by_name[name])}")


def _sentence(found: "Another", archive: Path, point: "PointToRecord") -> str:
    again = f"pipeledger archive redecode {archive} --map {point.map_file} --point {point.name}"
    named = [str(one) for one in found.otherwise[:_MOST_NAMED]]
    if (more := len(found.otherwise) - len(named)) > 0:
        named.append(f"{more} more")
    what = f": {', '.join(named)}" if named else ""
    if found.redecoded is None:
        return (
            f"the rows kept in {archive} so far were decoded by another map than {point.map_file}{what}. New "
            f"rows do not go with them. If this map is right, stop, and decode those again: {again}"
        )
    return (
        f"WRONG MAP? The rows in {archive} were decoded again at {found.redecoded} by another map than "
        f"{point.map_file}, which the point file names{what}. New rows do not go with them: stop, and put "
        f"`meter: map` of the point file right. If this map is the right one, decode again by it: {again}"
    )
