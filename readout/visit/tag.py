"""What stays at the pipe when the technician has gone: the tag on the meter."""

from collections.abc import Sequence


def tag(
    name: str, serial: str | None, until: str, site: str, company: str | None, *, recorder: str | None = None
) -> list[str]:
    """The lines of a tag, 44 characters wide at most where names allow; `until` in site time.

    `recorder`: the computer that records, where the meter itself does not.
    """
    recorded = (
        ["DO NOT SWITCH OFF, DO NOT TOUCH THE PROBE"]
        if recorder is None
        else ["DO NOT SWITCH OFF METER OR COMPUTER,", "DO NOT TOUCH THE PROBE OR THE CABLE"]
    )
    lines: Sequence[str] = (
        "MEASUREMENT RUNNING",
        *recorded,
        "",
        f"until    {until}",
        f"point    {name}",
        f"meter    {serial or 'no serial number'}",
        f"site     {site}",
        *([] if recorder is None else [f"recorder {recorder}"]),
        *([] if company is None else [f"order    {company}"]),
        "",
        "name and telephone ________________________",
    )
    width = max(len(line) for line in lines)
    edge = "+" + "-" * (width + 2) + "+"
    return [edge, *(f"| {line.ljust(width)} |" for line in lines), edge]
