"""`archive list`: the sealed files of an archive, and the rows that wait to be sealed."""

from readout.cli.options import ArchiveFolder, AsJson
from readout.cli.output import columns, counted, say, tell, tell_json


def archive_list(folder: ArchiveFolder, *, as_json: AsJson = False) -> int:
    """List the sealed files with their rows, span and SHA-256.

    Times are UTC. May run beside a recorder.
    """
    from storage.archive import ArchiveReader

    reader = ArchiveReader(folder)
    files = reader.files()
    if as_json:
        tell_json([file.as_listed() for file in files])
        return 0
    if files:
        rows = [("point", "source", "rows", "first", "last", "SHA-256", "file")]
        rows += [
            (f.point, f.source, str(f.rows), f.first or "-", f.last or "-", f.sha256[:12], f.file)
            for f in files
        ]
        for line in columns(rows, right=frozenset({2})):
            tell(line)
    say(f"{folder}: {counted(len(files), 'sealed file')}, {counted(sum(file.rows for file in files), 'row')}")
    for point, source in reader.streams():
        waiting = sum(len(rows) for _, rows in reader.waiting_rows(point, source))
        if waiting:
            say(f"{point}: {counted(waiting, f'{source} row')} in the journal, not sealed yet")
    return 0
