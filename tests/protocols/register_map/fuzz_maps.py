"""A fuzzer at the door: `python fuzz_maps.py SECONDS CORPUS`; status 0 when no input of any kind broke in.

atheris grows inputs towards code not yet reached. A traceback, a parse of more than 10 s, and any file,
process, import or network that the text causes end it with another status. Not a test: its test runs it as a
program.
"""

import sys
from pathlib import Path

import atheris
import ruamel.yaml

with atheris.instrument_imports(include=["protocols", "ruamel"]):
    from protocols.register_map.parse import parse_map

#: What Python tells of the outside: none of it may happen while a stranger's file is read.
OUTSIDE = (
    "open",
    "os.",
    "exec",
    "compile",
    "import",
    "subprocess.",
    "socket.",
    "shutil.",
    "ctypes.",
    "pickle.",
)
#: The YAML library looks into its own folder for plug-ins, whatever the text.
OWN = str(Path(ruamel.yaml.__file__).parent)
reading = False


def watch(event: str, arguments: tuple[object, ...]) -> None:
    looks = event in {"os.scandir", "os.listdir"} and str(arguments[0]) == OWN
    if reading and event.startswith(OUTSIDE) and not looks:
        raise AssertionError(f"the text reached the outside: {event} {arguments!r:.200}")


def one(data: bytes) -> None:
    """One input. Every fault must say where; a map must be there or a reason why not."""
    global reading
    reading = True
    try:
        parsed = parse_map(data, "stranger.yaml")
        said = [str(fault) for fault in parsed.faults]
    finally:
        reading = False
    assert all("\n" not in each for each in said)
    assert (parsed.map is None) == any(fault.severity == "fault" for fault in parsed.faults)


if __name__ == "__main__":
    seconds, corpus = sys.argv[1:]
    # What is imported at the first use, at the first fault, at the first text that is no YAML.
    one(b"register_map: 1\nmetre: x\n")
    one(b"register_map: [\n")
    sys.addaudithook(watch)
    limits = [
        f"-max_total_time={seconds}",
        "-timeout=10",
        "-rss_limit_mb=1024",
        "-max_len=4096",
        "-print_final_stats=1",
    ]
    atheris.Setup([sys.argv[0], *limits, corpus], one)
    atheris.Fuzz()
