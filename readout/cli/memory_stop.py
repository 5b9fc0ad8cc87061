"""`memory stop`: end recording in the meter; what it recorded stays there."""

from readout.cli.at_meter import IntoArchive, PointFile, Yes
from readout.cli.options import AsJson, TraceFile


def memory_stop(
    point: PointFile,
    *,
    archive: IntoArchive,
    yes: Yes = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Stop recording in the meter: asks, writes once, reads back. What it recorded stays in its memory.

    Kept in the archive's ledger. Only where the map lets `recording` be written, and never for a customer's
    meter. Exit status 1 where the meter still records after.
    """
    from readout.cli.memory_command import start_or_stop
    from readout.meter.commands import IDLE

    return start_or_stop(point, archive, IDLE, trace, yes=yes, as_json=as_json)
