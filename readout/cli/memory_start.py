"""`memory start`: let the meter record."""

from readout.cli.at_meter import IntoArchive, PointFile, Yes
from readout.cli.options import AsJson, TraceFile


def memory_start(
    point: PointFile,
    *,
    archive: IntoArchive,
    yes: Yes = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Start recording in the meter: says how long the memory will last, asks, writes once, reads back.

    Kept in the archive's ledger. Only where the map lets `recording` be written, and never for a customer's
    meter. Exit status 1 where the meter does not record after.
    """
    from readout.cli.memory_command import start_or_stop
    from readout.meter.commands import RECORDING

    return start_or_stop(point, archive, RECORDING, trace, yes=yes, as_json=as_json)
