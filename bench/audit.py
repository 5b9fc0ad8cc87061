"""Report and workbook of a year of seconds, beside the same aggregations in plain pandas: time and memory.

    .venv/bin/python bench/audit.py [DAYS]

Each in a process of its own, on the archive of bench/year.py; wall-clock and processor seconds, and the most
memory the process held. 365 days need about five minutes and 0.3 GB in the folder for temporary files.
"""

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

import year
from figures import table

PIPELEDGER = str(Path(sys.executable).with_name("pipeledger"))

#: What the report needs of the rows, as somebody would write it in a notebook: minutes with seconds, mean,
#: lowest and highest, days, hours of the week, peaks, percentiles, a histogram, counts of words.
PANDAS = """\
import sys
from pathlib import Path
import numpy as np
import pandas as pd
files = sorted(Path(sys.argv[1]).rglob("*.parquet"))
readings = ["flow", "temperature", "pressure"]
flags = [f"{name}_flag" for name in readings]
columns = ["due", "status", "clock", *readings, *flags]
frame = pd.concat([pd.read_parquet(file, columns=columns) for file in files]).set_index("due")
frame.index = frame.index.tz_convert("Europe/Dublin")
told = {}
for name in readings:
    values = frame[name].astype("float64")
    minutes = values.resample("1min").agg(["count", "mean", "min", "max"])
    told[name] = [values.mean(), values.min(), values.max(), minutes["mean"].max()]
    told[name] += [minutes["mean"].rolling(n).mean().max() for n in (5, 15, 60)]
    told[name] += list(values.quantile([.01, .05, .1, .25, .5, .75, .9, .95, .99], interpolation="lower"))
    known = values.dropna()
    np.histogram(known, 4096)
    minutes["mean"].resample("D").mean()
    minutes["mean"].groupby([minutes.index.weekday, minutes.index.hour]).agg(["mean", "count"])
for name in ["status", "clock", *flags]:
    frame[name].value_counts()
print(told["flow"])
"""


@dataclass(frozen=True, slots=True)
class Spent:
    """What a process took: wall-clock [s], processor [s], most memory [MB]; and what it `told` meanwhile."""

    wall_s: float
    processor_s: float
    memory_mb: float
    told: str = ""


def spent(command: Sequence[str]) -> Spent:
    """Run it to its end; SystemExit where it fails."""
    begun = perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        told = process.stdout.read() + process.stderr.read()
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(command[:4])}: {told}")
    return Spent(perf_counter() - begun, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, told)


def tasks(archive: Path, folder: Path) -> Mapping[str, Sequence[str]]:
    """Command of each, by what it does; `folder` takes what they write."""
    workbook = ("export", str(archive), "--to", str(folder / "rows.xlsx"), "--every", "1min", "--overwrite")
    return {
        "report": (PIPELEDGER, "report", str(archive), "--to", str(folder / "audit.html")),
        "workbook of minutes": (PIPELEDGER, *workbook),
        "plain pandas": (sys.executable, "-c", PANDAS, str(archive)),
    }


def main() -> None:
    """Print what each took, and the report as a share of pandas."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else year.DAYS
    with TemporaryDirectory() as name:
        folder = Path(name)
        year.write(folder / "archive", count)
        found = {what: spent(command) for what, command in tasks(folder / "archive", folder).items()}
    rows = [
        (what, f"{one.wall_s:.1f}", f"{one.processor_s:.1f}", f"{one.memory_mb:.0f}")
        for what, one in found.items()
    ]
    print(table((f"{count} days of seconds", "wall s", "processor s", "MB"), rows))
    ours, plain = found["report"], found["plain pandas"]
    print(
        f"report over pandas: {ours.wall_s / plain.wall_s:.2f} of the time,"
        f" {ours.memory_mb / plain.memory_mb:.2f} of the memory"
    )


if __name__ == "__main__":
    main()
