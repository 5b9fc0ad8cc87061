"""`archive seal`: the journal's rows become sealed files now, without a recorder."""

from readout.cli.options import ArchiveFolder, AsJson
from readout.cli.output import counted, say, tell, tell_json
from readout.errors import ArchiveError


def archive_seal(folder: ArchiveFolder, *, as_json: AsJson = False) -> int:
    """Seal what a recorder left in the journal, and finish what a crash left half done.

    Refused while a recorder runs: it seals by itself.
    """
    from readout.sealing.seal import seal_journal
    from storage.archive import Archive, is_archive

    if not is_archive(folder):
        raise ArchiveError(f"{folder} holds no archive; is the path right?")
    with Archive.open(folder) as archive:
        sealed = seal_journal(archive)
        tail = archive.ledger.tail
    if as_json:
        tell_json(
            {
                "sealed": [file.as_listed() for file in sealed],
                "ledger": {"n": tail.n, "hash": tail.hash},
            }
        )
        return 0
    for file in sealed:
        tell(f"{file.file}: {counted(file.rows, 'row')}")
    say(
        f"{folder}: {counted(len(sealed), 'file')} sealed"
        if sealed
        else f"{folder}: nothing waited to be sealed"
    )
    return 0
