"""What one kind of finding is: data, the same for the printer, for JSON and for the manual."""

from dataclasses import dataclass

from protocols.register_map.faults import Severity

_HEAD = "register_map: 1\nmeter: Mere 5 vane meter\n"
#: What an example that is about something else has for its readings.
_READINGS = "readings: {alarm: {discrete: 0}}\n"
#: Keys with which an example stands at the top of a map; any other is a reading.
_TOP = ("meter", "serial", "wire", "fluid", "principle", "manual", "readings", "settings", "identity",
        "log_memory")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Finding:
    """A kind of finding of `map check`.

    `name`: words that stay the same from version to version. `why`: what it would cost to leave it, one or
    two sentences. `wrong` and `right`: lines of a map that have the finding, and lines that have none of any
    kind; either may be readings alone. `wrong` is empty where a few lines cannot show it, as a file too long.
    """

    name: str
    severity: Severity
    why: str
    right: str
    wrong: str = ""


def whole_map(example: str) -> str:
    """The map that the lines of an example are part of."""
    if example.startswith("register_map"):
        return example + "\n"
    if example.partition(":")[0] in _TOP:
        more = "" if "readings:" in example or "log_memory:" in example else _READINGS
        return f"{_HEAD}{example}\n{more}"
    return f"{_HEAD}readings:\n" + "".join(f"  {line}\n" for line in example.splitlines())
