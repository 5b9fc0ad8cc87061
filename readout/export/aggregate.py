"""`--every`: means, lowest and highest values of site-time intervals. Gaps stay gaps."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from readout.errors import WrongUse
from readout.export.table import BATCH, CORRECTED, Column, Stream
from readout.review.about.logbook import log_book
from readout.review.about.site_time import SiteTime, groups
from readout.review.figures.corrections import corrections, factors
from readout.review.rows.measure import Progress, measure
from readout.review.rows.minutes import MINUTE_MS, Values

if TYPE_CHECKING:
    import pyarrow as pa

_DAY_MINUTES = 1440
_HOUR_MINUTES = 60


def minutes_of(every_ms: int) -> int:
    """Whole minutes that a day can be divided by; WrongUse for anything else."""
    minutes, rest = divmod(every_ms, MINUTE_MS)
    if rest or not minutes or _DAY_MINUTES % minutes:
        raise WrongUse(
            "--every: write whole minutes that divide a day, such as 1min, 5min, 15min, 1h or 1d;"
            " without --every rows are exported as they were measured"
        )
    return minutes


def aggregated(
    root: Path, point: str, source: str, since: int | None, until: int | None, every: int,
    progress: Progress = lambda _share, _word: None,
) -> Stream | None:  # fmt: skip
    """One row for each interval of `every` minutes by the site's clock, from the first to the last.

    Up to an hour long, intervals that the clock shows twice in October are two; longer ones are longer or
    shorter on such a day. Columns: time (the interval's first instant), measured_s (of the flow), and for
    each reading mean, lowest and highest row. An interval without values has none. None: no rows.
    `progress` is told the share that is done, 0 to 1, and a word.
    """
    measured = measure(root, point, source, since=since, until=until, progress=progress)
    if measured is None:
        return None
    about = measured.installation
    grid = np.arange(measured.minutes.begin[0], measured.minutes.begin[-1] + MINUTE_MS, MINUTE_MS)
    site = SiteTime(about.zone, grid, about.calendar)
    keys = [site.local_minute // every]
    if every <= _HOUR_MINUTES:
        keys = [grid // MINUTE_MS - site.local_minute, *keys]
    found, place = groups(keys)
    first = np.full(len(found), np.iinfo(np.int64).max)
    np.minimum.at(first, place, grid)
    order = np.argsort(first)
    rows = place[(measured.minutes.begin - grid[0]) // MINUTE_MS]
    columns, arrays = [Column("time", kind="timestamp")], {"time": first[order]}
    readings = dict(measured.minutes.values)
    flow = about.flow.name if about.flow else next(iter(readings), None)
    by = factors(corrections(log_book(root, point).amendments), measured.minutes.begin)
    if flow in readings:
        seconds = np.bincount(rows, readings[flow].seconds, len(found))
        columns.append(Column("measured", "s"))
        arrays["measured"] = seconds[order]
    for name, values in readings.items():
        reading = about.readings[name]
        wanted = [(name, values)]
        if by is not None and name == flow:
            own = Values(values.seconds, values.integral * by, values.low * by, values.high * by)
            wanted.append((name + CORRECTED, own))
        for shown, own in wanted:
            for what, column in _of(own, rows, len(found)).items():
                columns.append(Column(f"{shown}_{what}", reading.unit, reading.reference))
                arrays[f"{shown}_{what}"] = column[order]
    return Stream(about, columns, len(found), _tables(arrays), measured)


def _of(values: Values, rows: Any, count: int) -> dict[str, Any]:
    low, high = np.full(count, np.nan), np.full(count, np.nan)
    np.fmin.at(low, rows, values.low)
    np.fmax.at(high, rows, values.high)
    seconds = np.bincount(rows, values.seconds, count)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(seconds > 0, np.bincount(rows, values.integral, count) / seconds, np.nan)
    return {"mean": mean, "min": low, "max": high}


def _tables(arrays: dict[str, Any]) -> "Iterator[pa.Table]":
    import pyarrow as pa

    made: dict[str, Any] = {"time": pa.array(arrays.pop("time"), pa.timestamp("ms", "UTC"))}
    made |= {name: pa.array(column, pa.float64(), from_pandas=True) for name, column in arrays.items()}
    whole = pa.table(made)
    for first in range(0, whole.num_rows, BATCH):
        yield whole.slice(first, BATCH)
