"""Entries from people and other programs: notes, marks, attachments, also while a recorder runs.

An entry is left in `journal/inbox/`; whoever writes the archive takes it into the ledger. `entering.enter`
does the whole of it and waits for the line.
"""
