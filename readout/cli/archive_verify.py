"""`archive verify`: proof that an archive is as it was written."""

from typing import Annotated

import typer

from readout.cli.options import ArchiveFolder, AsJson
from readout.cli.output import counted, say, tell, tell_json


def archive_verify(
    folder: ArchiveFolder,
    *,
    quick: Annotated[
        bool,
        typer.Option("--quick", help="Sizes, footers and the ledger only; not every byte of every file."),
    ] = False,
    as_json: AsJson = False,
) -> int:
    """Check every file, row count and hash, and the ledger's chain, against what was written.

    Changes nothing and needs only the folder. Exit status 1 where a fault was found. Compare the ledger's
    last number and hash with those you were given when the recording ended: somebody who rewrites the whole
    folder, ledger and all, is found only so.
    """
    from storage.verify import Depth, verify_archive

    found = verify_archive(folder, Depth.QUICK if quick else Depth.FULL)
    if as_json:
        tell_json(found.as_json())
    else:
        for fault in found.faults:
            tell(f"{fault.file}: {fault.fault}")
        tell(
            f"{folder}: {counted(found.files, 'file')}, {counted(found.rows, 'row')}, "
            + (counted(len(found.faults), "fault") if found.faults else "no fault")
            + (" (quick: not every byte was read)" if quick else "")
        )
        tell(f"ledger: line {found.ledger.n}, hash {found.ledger.hash}")
    for note in found.notes:
        say(note)
    return 1 if found.faults else 0
