"""The meter's own memory: which requests reach its records, what the replies hold, what is still missing.

Pure, as all of `protocols`: the walker says what to send next and takes what came; who sends it, when, and
what becomes of the records is for others. The map's side (`LogMemory`, `Record`, `SessionTable`, `Lock`,
`ByWindow`, `ByRegisters`, `ByFiles`, `ByQueue`) is in `protocols.register_map.memory_model`.

    walk.walker   Walker: next() is the step to send, take(reply) brings batches; statement() at the end
    state         StateReader, MemoryState, Session: what the meter tells of its memory
    ways          Reach, Fetch: the requests of each way; estimate: characters, requests, seconds
    records       Batch, and words to records: numbers, times, checks, empty ones
    times         times_told, times_counted: the meter's time to UTC over a session
    numbers       serial arithmetic, ranges
"""
