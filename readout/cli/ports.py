"""`ports`: the serial adapters of this computer."""

from readout.cli.options import AsJson
from readout.cli.output import columns, say, tell, tell_json


def ports(*, as_json: AsJson = False) -> int:
    """List serial adapters with their stable names, latency and who holds them. Opens none of them."""
    from readout.bus.ports import list_ports

    found = list_ports()
    if as_json:
        tell_json(
            [
                {
                    "port": port.name,
                    "stable_name": port.stable_name,
                    "description": port.description or None,
                    "latency_ms": port.latency_ms,
                    "holder": port.holder,
                }
                for port in found
            ]
        )
        return 0
    if not found:
        say("no serial port was found: plug the adapter in, and look again")
        return 0
    rows = [("port", "stable name", "latency", "held by", "description")]
    rows += [
        (
            port.name,
            port.stable_name or "-",
            f"{port.latency_ms} ms" if port.latency_ms is not None else "-",
            port.holder or "-",
            port.description or "-",
        )
        for port in found
    ]
    for line in columns(rows):
        tell(line)
    return 0
