"""The meter's own memory: which requests reach its records, what the replies hold, what is still missing.

Pure, as all of `protocols`: the walker says what to send next and takes what came; who sends it, when, and
what becomes of the records is for others. The map's side (`LogMemory`, `Record`, `SessionTable`, `Lock`,
`ByWindow`, `ByRegisters`, `ByFiles`, `ByQueue`) is in `protocols.register_map.memory_model`.
"""
