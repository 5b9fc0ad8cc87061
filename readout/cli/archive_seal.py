"""`archive seal`: the journal's rows become sealed files now, without a recorder."""

from datetime import UTC, datetime

from readout.cli.options import ArchiveFolder, AsJson
from readout.cli.output import counted, say, tell, tell_json
from readout.errors import ArchiveError


def archive_seal(folder: ArchiveFolder, *, as_json: AsJson = False) -> int:
    """Seal what a recorder or a retrieval left in the journal, and join the files of days that have ended.

    What a crash left half done is finished. Files that were joined are kept in superseded/. Refused while
    a recorder runs: it does the same by itself.
    """
    from readout.cli.memory_visit import seal_all_waiting
    from readout.clock import SystemClock
    from readout.daemon.computer_clock import clock_now
    from readout.sealing.merge import merge_days
    from readout.sealing.seal import seal_journal
    from storage.archive import Archive, is_archive

    if not is_archive(folder):
        raise ArchiveError(f"{folder} holds no archive; is the path right?")
    with Archive.open(folder) as archive:
        sealed = [*seal_journal(archive, clock_now(SystemClock())), *seal_all_waiting(archive)]
        merged = merge_days(archive, datetime.now(UTC).date())
        waiting = sum(archive.journal.count().values())
        tail = archive.ledger.tail
    if as_json:
        tell_json(
            {
                "sealed": [file.as_listed() for file in sealed],
                "merged": [file.as_listed() for file in merged],
                "waiting": waiting,
                "ledger": {"n": tail.n, "hash": tail.hash},
            }
        )
        return 0
    for file in [*sealed, *merged]:
        tell(f"{file.file}: {counted(file.rows, 'row')}")
    if waiting:
        say(f"{folder}: {counted(waiting, 'row')} stay in the journal until this computer's clock is set")
    if merged:
        say(f"{folder}: the files of {counted(len(merged), 'day')} joined")
    say(
        f"{folder}: {counted(len(sealed), 'file')} sealed"
        if sealed
        else f"{folder}: nothing waited to be sealed"
    )
    return 0
