"""`archive describe`: everything that one sealed file tells about itself."""

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from readout.cli.options import AsJson
from readout.cli.output import columns, counted, tell, tell_json
from readout.errors import WrongUse

_PREFIX = "pipeledger."


def archive_describe(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A sealed file, wherever it lies.")],
    *,
    as_json: AsJson = False,
) -> int:
    """Tell everything a sealed file says of itself: point, meter, map, settings, columns, rows.

    Needs nothing but the file. Compare its SHA-256 with the ledger's line to prove it; `archive verify`
    does that for a whole archive.
    """
    found = _description(file)
    if as_json:
        tell_json(found)
        return 0
    for line in _lines(found):
        tell(line)
    return 0


def _description(file: Path) -> dict[str, Any]:
    import hashlib

    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        with file.open("rb") as stream:
            sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
        with pq.ParquetFile(file, page_checksum_verification=True) as opened:
            schema, footer = opened.schema_arrow, opened.metadata
            told = _metadata(schema.metadata or {})
            names: list[str] = [name for name in ("status", "clock") if name in schema.names]
            counts = _counts(opened.read(columns=names), names)
            shown = [_column(schema.field(i), footer, i) for i in range(len(schema))]
            rows = footer.num_rows
    except OSError as error:
        raise WrongUse(f"{file}: cannot be read ({error.strerror or error}); is the path right?") from error
    except pa.ArrowException as error:
        raise WrongUse(f"{file}: is no whole Parquet file ({str(error).splitlines()[0]})") from error
    if not told:
        raise WrongUse(f"{file}: holds none of the entries pipeledger.… that a sealed file has")
    return {
        "file": file.name,
        "bytes": file.stat().st_size,
        "sha256": sha256,
        "rows": rows,
        "counts": counts,
        "columns": shown,
        "metadata": told,
    }


def _metadata(metadata: dict[bytes, bytes]) -> dict[str, Any]:
    """The file's entries by name without their prefix; one that is no JSON as the text it is."""
    found: dict[str, Any] = {}
    for key, raw in metadata.items():
        name, text = key.decode(errors="replace"), raw.decode(errors="replace")
        if name.startswith(_PREFIX):
            try:
                found[name.removeprefix(_PREFIX)] = json.loads(text)
            except ValueError:
                found[name.removeprefix(_PREFIX)] = text
    return found


def _counts(table: Any, names: list[str]) -> dict[str, dict[str, int]]:
    """How often each word of a column stands there."""
    counted_ = {}
    for name in names:
        found = table[name].value_counts().to_pylist()
        counted_[name] = {str(one["values"]): int(one["counts"]) for one in found}
    return counted_


def _column(field: Any, footer: Any, index: int) -> dict[str, Any]:
    """Name, type, what the map says of it, and what the footer knows of its values."""
    about = {key.decode(): text.decode() for key, text in (field.metadata or {}).items()}
    parts = [footer.row_group(group).column(index).statistics for group in range(footer.num_row_groups)]
    known = [part for part in parts if part is not None]
    spans = [(part.min, part.max) for part in known if part.has_min_max]
    return {
        "name": field.name,
        "type": str(field.type),
        "missing": sum(part.null_count for part in known),
        "lowest": _plain(min(low for low, _ in spans)) if spans else None,
        "highest": _plain(max(high for _, high in spans)) if spans else None,
        **{key: text for key, text in about.items() if not key.startswith("PARQUET:")},
    }


def _plain(value: Any) -> Any:
    from datetime import datetime

    from readout.clock import iso

    if isinstance(value, datetime):
        return iso(value.timestamp())
    return value if isinstance(value, (bool, int, float, str)) else str(value)


def _lines(found: dict[str, Any]) -> list[str]:
    told = dict(found["metadata"])
    point, map_text = told.pop("point", {}), told.pop("map", "")
    span = told.pop("rows", {})
    lines = [
        f"{found['file']}: {counted(found['rows'], 'row')}, {counted(found['bytes'], 'byte')}",
        f"SHA-256  {found['sha256']}",
    ]
    lines += [f"point    {point.get('name')} ({point.get('source')}), {point.get('site')}"] if point else []
    ends = [(name, entry) for name, entry in span.items() if name != "count"]
    lines += columns([(name.replace("_", " "), str(entry)) for name, entry in ends])
    for name, counts in found["counts"].items():
        lines.append(f"{name}: " + ", ".join(f"{word} {count}" for word, count in counts.items()))
    rows = [("column", "type", "unit", "missing", "lowest", "highest", "register")]
    rows += [
        (c["name"], c["type"], c.get("unit", "-"), str(c["missing"]), _cell(c["lowest"]), _cell(c["highest"]),
         c.get("register", "-"))
        for c in found["columns"]
    ]  # fmt: skip
    lines += ["", *columns(rows, right=frozenset({3, 4, 5})), ""]
    point_file = point.pop("point_file", None)
    rest = {**{f"point {name}": entry for name, entry in point.items()}, **told}
    for name, entry in rest.items():
        if entry not in (None, {}, []):
            lines.append(
                f"{name}: {entry if isinstance(entry, str) else json.dumps(entry, ensure_ascii=False)}"
            )
    for name, text in (("point file", point_file), ("register map", map_text)):
        if text:
            lines += ["", f"{name}:", *(f"  {line}" for line in str(text).splitlines())]
    return lines


def _cell(value: Any) -> str:
    return "-" if value is None else f"{value:.7g}" if isinstance(value, float) else str(value)
