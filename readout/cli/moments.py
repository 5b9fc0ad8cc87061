"""TIME on the command line: ISO 8601; without an offset it is meant in the site's time zone."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from readout.errors import WrongUse


def moment_ms(text: str, zone: str, option: str) -> int:
    """A moment in ms since 1970 UTC.

    Raises:
        WrongUse: it is none, or a time of day that the zone's clocks show twice or never on that day
            (write it with an offset then: `2026-10-25T01:30+01:00`).
    """
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise WrongUse(
            f"{option} {text}: not a time; write such as 2026-05-03T14:30 or 2026-05-03T14:30:00+02:00"
        ) from error
    if found.tzinfo is not None:
        return round(found.timestamp() * 1000)
    first = found.replace(tzinfo=ZoneInfo(zone), fold=0)
    second = found.replace(tzinfo=ZoneInfo(zone), fold=1)
    if first.utcoffset() != second.utcoffset():
        there = first.astimezone(UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None) == found
        how = "twice" if there else "never"
        ways = f"{found.isoformat()}{_offset(first)} or {found.isoformat()}{_offset(second)}"
        raise WrongUse(f"{option} {text}: the clocks of {zone} show this time {how}; write {ways}")
    return round(first.timestamp() * 1000)


def _offset(moment: datetime) -> str:
    """`+01:00`"""
    told = moment.strftime("%z")
    return f"{told[:3]}:{told[3:5]}"
