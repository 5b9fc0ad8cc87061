"""What stays at the pipe when the technician has gone: the tag on the meter."""

from collections.abc import Sequence


def tag(name: str, serial: str | None, until: str, site: str, company: str | None) -> list[str]:
    """The lines of a tag, 44 characters wide at most where names allow; `until` in site time."""
    lines: Sequence[str] = (
        "MEASUREMENT RUNNING",
        "DO NOT SWITCH OFF, DO NOT TOUCH THE PROBE",
        "",
        f"until    {until}",
        f"point    {name}",
        f"meter    {serial or 'no serial number'}",
        f"site     {site}",
        *([] if company is None else [f"order    {company}"]),
        "",
        "name and telephone ________________________",
    )
    width = max(len(line) for line in lines)
    edge = "+" + "-" * (width + 2) + "+"
    return [edge, *(f"| {line.ljust(width)} |" for line in lines), edge]
