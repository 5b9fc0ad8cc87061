"""The same figures as pandas frames, for notebooks. Units are in `attrs["units"]`: column → unit.

Times are UTC in rows, and the site's, with their zone, in everything else.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from readout.errors import WrongUse
from readout.review.about.installation import LIVE
from readout.review.about.site_time import WEEKDAYS
from readout.review.figures.periods import Period
from readout.review.review import ReadingReview, Review, hours_of

if TYPE_CHECKING:
    import pandas as pd


def rows(
    root: Path, point: str, source: str = LIVE, *, since: int | None = None, until: int | None = None
) -> "pd.DataFrame":
    """The rows of a span [ms since 1970 UTC) as kept, by sequence, those of the journal too.

    It holds them all in memory: for a year of seconds ask `review` instead. Index: due, memory rows time.
    WrongUse where the point has none.
    """
    from readout.review.rows.streams import installation_of
    from readout.sealing.record import Record
    from readout.sealing.table import table_of
    from storage.archive import ArchiveReader

    _pandas()
    about = installation_of(root, point, source)
    if about is None:
        raise WrongUse(f"{root} has no rows of {point} ({source})")
    table = ArchiveReader(root).read_rows(
        point,
        source,
        decode=lambda plan, waiting: table_of(Record.from_text(plan), waiting),
        since=since,
        until=until,
    )
    frame = table.to_pandas().set_index("due" if source == LIVE else "time")
    frame.attrs["units"] = {name: one.unit for name, one in about.readings.items() if name in frame}
    return frame


def minutes(found: Review, name: str) -> "pd.DataFrame":
    """Clock minutes of a reading: seconds measured, mean, lowest, highest. NaN where nothing was."""
    one = found.readings[name]
    values = {
        "measured_s": one.values.seconds, "mean": one.values.means, "lowest": one.values.low,
        "highest": one.values.high,
    }  # fmt: skip
    frame = _pandas().DataFrame(values, index=_times(found, found.measured.minutes.begin))
    return _with_units(frame, one)


def hours(found: Review, name: str) -> "pd.DataFrame":
    """Hours of the site's clock, those with rows."""
    return _periods(found, found.readings[name], hours_of(found, name))


def days(found: Review, name: str) -> "pd.DataFrame":
    """Days of the site, with their day type."""
    return _periods(found, found.readings[name], found.readings[name].days)


def week(found: Review, name: str) -> "tuple[pd.DataFrame, pd.DataFrame]":
    """Hour of the day × weekday: means, and n, how many such hours were measured."""
    pandas, one = _pandas(), found.readings[name]
    told = [period.name.rsplit(" ", 1) for period in one.week]
    frame = pandas.DataFrame(
        {
            "weekday": [weekday for weekday, _ in told],
            "hour": [int(hour[:2]) for _, hour in told],
            "mean": [period.mean for period in one.week],
            "n": [period.count for period in one.week],
        }
    )
    tables = [
        frame.pivot_table(index="hour", columns="weekday", values=what).reindex(columns=list(WEEKDAYS))
        for what in ("mean", "n")
    ]
    tables[0].attrs["units"] = dict.fromkeys(WEEKDAYS, one.shown.unit)
    return tables[0], tables[1]


def _periods(found: Review, one: ReadingReview, periods: Sequence[Period]) -> "pd.DataFrame":
    columns: dict[str, list[Any]] = {
        "measured_s": [period.measured_s for period in periods],
        "elapsed_s": [period.elapsed_s for period in periods],
        "mean": [period.mean for period in periods],
        "lowest": [period.lowest for period in periods],
        "highest": [period.highest for period in periods],
    }
    if one.amount is not None:
        columns["total"] = [period.amount * one.amount.factor for period in periods]
    if any(period.day_type for period in periods):
        columns["day_type"] = [period.day_type and period.day_type.value for period in periods]
    frame = _pandas().DataFrame(columns, index=_times(found, [period.begin_ms for period in periods]))
    return _with_units(frame, one)


def _times(found: Review, moments: Any) -> Any:
    pandas = _pandas()
    return pandas.to_datetime(moments, unit="ms", utc=True).tz_convert(found.installation.zone.key)


def _with_units(frame: "pd.DataFrame", one: ReadingReview) -> "pd.DataFrame":
    units = dict.fromkeys(("mean", "lowest", "highest"), one.shown.unit)
    units |= {"measured_s": "s", "elapsed_s": "s", "total": one.amount.unit if one.amount else None}
    frame.attrs["units"] = {name: unit for name, unit in units.items() if name in frame}
    return frame


def _pandas() -> Any:
    try:
        import pandas
    except ImportError as error:
        raise WrongUse("frames need pandas: install pipeledger[notebook]") from error
    return pandas
