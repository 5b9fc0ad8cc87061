"""Findings on the text itself: what YAML is taken, keys, words."""

from protocols.register_map.findings.finding import Finding

_SHORTEST = "register_map: 1\nmeter: Mere 5 vane meter\nreadings: {alarm: {discrete: 0}}"

FINDINGS = (
    Finding(
        "file not readable", "fault",
        "A map that cannot be opened says nothing; the other files are checked all the same.",
        "flow: {input: 16, type: float32, unit: kg/h}",
    ),
    Finding(
        "too long", "fault",
        "A register map has some hundred lines. Far more is another kind of file, and reading it would hold "
        "a recorder up.",
        "flow: {input: 16, type: float32, unit: kg/h}",
    ),
    Finding(
        "not UTF-8", "fault",
        "In another encoding the same bytes are other letters: a unit such as m³ would be stored wrongly.",
        "flow: {input: 16, type: float32, unit: m³/h, basis: actual}",
    ),
    Finding(
        "control character", "fault",
        "A terminal obeys such characters, and no display shows them: a name with one can neither be "
        "typed nor trusted.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        'readings: {flow: {input: 16, type: float32, unit: "kg\\e/h"}}',
    ),
    Finding(
        "not YAML", "fault",
        "From there on nobody knows what belongs to what, so the rest of the file is not checked.",
        'manual: "Mere 5: register table"\nreadings: {alarm: {discrete: 0}}',
        "manual: Mere 5: register table",
    ),
    Finding(
        "tab in the indentation", "fault",
        "A tab is as wide as each editor likes, so it cannot say what belongs to what.",
        "readings:\n  flow: {input: 16, type: float32, unit: kg/h}",
        "readings:\n\tflow: {input: 16, type: float32, unit: kg/h}",
    ),
    Finding(
        "empty file", "fault",
        "An empty file is what a broken copy leaves behind.",
        _SHORTEST,
    ),
    Finding(
        "no keys and values", "fault",
        "Every entry of a map is found by its key; a list or a bare text has none.",
        _SHORTEST,
        "register_map 1",
    ),
    Finding(
        "another kind of file", "fault",
        "Maps, measuring points and jobs are files of their own, so that one map serves every meter of "
        "its kind.",
        _SHORTEST,
    ),
    Finding(
        "second document", "fault",
        "Of two documents in one file only one could be the map, and nothing says which.",
        "readings:\n  alarm: {discrete: 0}",
        "readings:\n  alarm: {discrete: 0}\n---\nreadings:\n  door: {coil: 0}",
    ),
    Finding(
        "directive", "fault",
        "A directive changes how the rest of the file is read; a map means the same to everybody without "
        "one.",
        _SHORTEST,
    ),
    Finding(
        "alias or anchor", "fault",
        "Anchors, aliases and merge keys put text in places where nobody sees it, and can make a small "
        "file endless. A map is read beside the manual, line by line.",
        "flow: {input: 16, type: float32, unit: kg/h}\nvelocity: {input: 18, type: float32, unit: m/s}",
        "flow: &all {input: 16, type: float32, unit: kg/h}",
    ),
    Finding(
        "tag", "fault",
        "A tag tells a reader to make something of the text; here the key alone says what a value is, and "
        "a map from a stranger can run nothing.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: !!int 16, type: float32, unit: kg/h}",
    ),
    Finding(
        "nested too deep", "fault",
        "No map needs twenty levels; a file that has them wants to bring a reader down.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "manual: " + "[" * 21 + "]" * 21,
    ),
    Finding(
        "number too long", "fault",
        "No address, scale or time has forty digits, and exact arithmetic on them would take for ever.",
        "total: {input: 22, type: uint32, scale: 0.001, unit: kg}",
        "total: {input: 22, type: uint32, scale: 0." + "0" * 40 + "1, unit: kg}",
    ),
    Finding(
        "key is no word", "fault",
        "A key is what an entry is found by; a list in its place is usually a bracket too many.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "readings: {[flow]: {input: 16, type: float32, unit: kg/h}, door: {coil: 1}}",
    ),
    Finding(
        "given twice", "fault",
        "Most readers of YAML silently keep the last of two equal keys: half of what was written would be "
        "lost.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: 16, type: float32, unit: kg/h, unit: kg/min}",
    ),
    Finding(
        "list or mapping here", "fault",
        "A single value is wanted where a list or a mapping stands, so it is not clear which part of it "
        "is meant.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: [16, 17], type: float32, unit: kg/h}",
    ),
    Finding(
        "no list here", "fault",
        "Two ends of a range, several steps, several raw values: each takes a list, even for one item.",
        "flow: {input: 16, type: float32, unit: kg/h, range: [0, 160]}",
        "flow: {input: 16, type: float32, unit: kg/h, range: 160}",
    ),
    Finding(
        "no mapping here", "fault",
        "Keys and values are wanted; without a key it is not clear what the text says.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: [16, float32]",
    ),
    Finding(
        "number of items", "fault",
        "A list of the wrong length has lost or gained something; a decimal comma does that too.",
        "flow: {input: 16, type: float32, unit: kg/h, range: [0.4, 160]}",
        "flow: {input: 16, type: float32, unit: kg/h, range: [0.4]}",
    ),
    Finding(
        "empty mapping", "fault",
        "A key with nothing behind it is usually an indentation that slipped.",
        "readings:\n  flow: {input: 16, type: float32, unit: kg/h}",
        "readings: {}",
    ),
    Finding(
        "key missing", "fault",
        "Without it the program would have to guess, and a guess becomes a number in a report.",
        _SHORTEST,
        "register_map: 1\nreadings: {alarm: {discrete: 0}}",
    ),
    Finding(
        "exactly one", "fault",
        "Each of these keys says by itself where the value lies; two of them, or none, leave it open.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: 16, holding: 16, type: float32, unit: kg/h}",
    ),
    Finding(
        "unknown key", "fault",
        "A misspelt key would be left out in silence: the value would be read without the scale, range or "
        "order that was written for it.",
        "total: {input: 22, type: uint32, scale: 0.1, unit: kg}",
        "total: {input: 22, type: uint32, skale: 0.1, unit: kg}",
    ),
    Finding(
        "key in the wrong place", "fault",
        "The key is a good one, but not here: what it says would have no effect.",
        "settings:\n  damping: {holding: 36, type: uint16, unit: s, steps: [1, 2, 5], write: allowed}",
        "damping: {holding: 36, type: uint16, unit: s, write: allowed}",
    ),
    Finding(
        "key means nothing here", "fault",
        "The key has no effect on this type, so whoever wrote it expects something that will not happen.",
        "alarm: {discrete: 3, codes: {0: normal, 1: alarm}}",
        "alarm: {discrete: 3, scale: 0.1}",
    ),
    Finding(
        "comma in a text", "fault",
        "In flow form a comma ends the entry; the rest of the text would become a key of its own.",
        'wire: {numbering: "from 0, large numbers meant"}\nreadings: {alarm: {discrete: 0}}',
        "wire: {numbering: from 0, large numbers meant}",
    ),
    Finding(
        "unfit name", "fault",
        "A name becomes a column of the archive, a topic and a metric. It must be one for every reader, "
        "and must not be a column that every row has already.",
        "flow_rate: {input: 16, type: float32, unit: kg/h}",
        "readings: {Flow-Rate: {input: 16, type: float32, unit: kg/h}}",
    ),
    Finding(
        "unknown word", "fault",
        "Only these words have a meaning here; a near one would have to be guessed.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: 16, type: flaot32, unit: kg/h}",
    ),
    Finding(
        "neither true nor false", "fault",
        "To some readers of YAML yes, on and 1 are truth values, to others plain text or a number.",
        "pressure: {input: 20, type: float32, unit: bar, gauge: true}",
        "pressure: {input: 20, type: float32, unit: bar, gauge: yes}",
    ),
    Finding(
        "nothing given", "fault",
        "A key without a value is usually one that was to be filled in later.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: 16, type: float32, unit: }",
    ),
    Finding(
        "truth value as text", "fault",
        "Without quotes YAML takes these words for something else than text.",
        "state: {input: 24, type: uint16, codes: {0: 'true', 1: 'false'}}",
        "state: {input: 24, type: uint16, codes: {0: true, 1: false}}",
    ),
    Finding(
        "text too long", "fault",
        "What does not fit a column's name, a unit or a line of a report is cut or hides what follows.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: 16, type: float32, unit: " + "kg" * 31 + "}",
    ),
    Finding(
        "text in another form", "fault",
        "The text is read by its form; another form may mean something else to the next reader.",
        "meter_clock: {holding: 34, type: calendar, coding: bcd, layout: [minute/second, day/hour, "
        "year/month]}",
        "meter_clock: {holding: 34, type: calendar, coding: bcd, layout: [minute-second, day-hour, "
        "year-month]}",
    ),
    Finding(
        "duration without unit", "fault",
        "300 may be seconds or milliseconds; a meter that needs the one fails with the other.",
        "wire: {reply_within: 300 ms}",
        "wire: {reply_within: 300}",
    ),
    Finding(
        "unknown departure", "fault",
        "What a meter does against the standard is accepted by name only, so that no damaged reply slips "
        "through.",
        "wire: {tolerate: [exception without checksum]}",
        "wire: {tolerate: [anything]}",
    ),
    Finding(
        "more findings", "fault",
        "Behind the first two hundred nobody reads on; most of them usually have one cause.",
        "flow: {input: 16, type: float32, unit: kg/h}",
    ),
)  # fmt: skip
