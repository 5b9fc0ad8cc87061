"""A map corrected after the visit: new values, the same registers, the old files kept."""

import json
import struct
from pathlib import Path
from types import ModuleType

import pytest

from readout.sealing.record import UNSTEADY
from readout.sealing.redecode import not_read, redecode, redecoded, stays, to_decode
from storage.archive import Archive, ArchiveReader
from storage.errors import SealingRefused
from storage.verify import verify_archive


def again(meter: ModuleType, root: Path, text: str) -> int:
    """Decode everything again; how many files that were."""
    new = meter.parsed(text)
    with Archive.open(root) as archive:
        files = to_decode(root, ArchiveReader(root).inventory().of(meter.POINT, "live"), new.sha256)
        return len(redecode(archive, files, new, "1.2").files)


def test_a_wrong_word_order_is_put_right(meter: ModuleType, root: Path) -> None:
    """IEEE 754: 7.5 is 40F0 0000; read low word first it is 0000 40F0, 2.3e-41."""
    low = meter.MAP.replace("unit: m3/h}", "unit: m3/h, word_order: low first}")
    with Archive.open(root) as archive:
        meter.fill(archive, meter.record(low), [meter.MIDNIGHT], lambda _: [0x40F0, 0x0000, 7012])
        meter.seal(archive)
    reader = ArchiveReader(root)
    wrong = reader.read_rows(meter.POINT, "live")
    assert wrong["flow"].to_pylist() == [struct.unpack(">f", bytes.fromhex("000040F0"))[0]]
    assert again(meter, root, meter.MAP) == 1
    right = reader.read_rows(meter.POINT, "live")
    assert right["flow"].to_pylist() == [7.5]
    assert right["pressure"].to_pylist() == [7.012]
    kept = [name for name in wrong.column_names if stays(name)]
    assert right.select(kept).equals(wrong.select(kept))
    assert {"raw_input_0", "raw_input_1", "raw_input_2", "sequence", "due", "time", "status"} <= set(kept)
    assert verify_archive(root).faults == verify_archive(root).notes == ()


def test_the_old_file_and_where_the_new_values_come_from_are_kept(meter: ModuleType, root: Path) -> None:
    meter.hours(root, 2)
    old = {file.file: (root / file.file).read_bytes() for file in ArchiveReader(root).files()}
    text = meter.MAP.replace("0.001", "0.002")
    assert again(meter, root, text) == 2
    for name, data in old.items():
        assert not (root / name).exists()
        assert (root / name.replace("rows/", "superseded/", 1)).read_bytes() == data
        assert (root / name.replace(".parquet", "-v2.parquet")).exists()
    line = json.loads((root / "ledger.jsonl").read_text().splitlines()[-1])
    assert (line["kind"], line["point"], line["replaces"]) == ("redecoded", meter.POINT, list(old))
    assert line["map_sha256"] == meter.parsed(text).sha256
    assert line["map_sha256_before"] == [meter.parsed(meter.MAP).sha256]
    assert [entry["first_sequence"] for entry in line["files"]] == [1, 6]


def test_twice_is_once_and_a_third_map_is_a_third_version(meter: ModuleType, root: Path) -> None:
    meter.hours(root, 1)
    assert again(meter, root, meter.MAP.replace("0.001", "0.002")) == 1
    assert again(meter, root, meter.MAP.replace("0.001", "0.002")) == 0
    assert again(meter, root, meter.MAP.replace("0.001", "0.003")) == 1
    assert [Path(f.file).name for f in ArchiveReader(root).files()] == ["0000000001-0000000005-v3.parquet"]
    rows = ArchiveReader(root).read_rows(meter.POINT, "live")
    assert rows["pressure"].to_pylist() == pytest.approx([0.003 * (7000 + i) for i in range(5)])


def test_a_types_change_takes_all_files_of_the_point_at_once(meter: ModuleType, root: Path) -> None:
    """Pressure as whole mbar: uint16 in every file, and the recorder may then go on with the new map."""
    meter.hours(root, 3)
    text = meter.MAP.replace("scale: 0.001, unit: bar,", "unit: mbar,")
    new = meter.parsed(text)
    with Archive.open(root) as archive:
        wanted = {"pressure": "uint16"}
        assert len(archive.clashing_columns(meter.POINT, "live", wanted)) == 1
        some = ArchiveReader(root).inventory().of(meter.POINT, "live")[:2]
        with pytest.raises(SealingRefused, match="columns would differ: pressure"):
            redecode(archive, some, new, "1.2")
        assert list((root / "temporary").iterdir()) == []
    assert again(meter, root, text) == 3
    assert str(ArchiveReader(root).read_rows(meter.POINT, "live").schema.field("pressure").type) == "uint16"
    with Archive.open(root) as archive:
        assert archive.clashing_columns(meter.POINT, "live", wanted) == []
    assert verify_archive(root).faults == ()


def test_a_register_that_was_not_read_gives_nulls(meter: ModuleType, root: Path) -> None:
    """Nothing is read again and nothing made up."""
    meter.hours(root, 1)
    text = meter.MAP + "  temperature: {input: 9, type: int16, unit: degC}\n"
    with Archive.open(root) as archive:
        (file,) = ArchiveReader(root).files()
        assert not_read(archive.read(file), meter.parsed(text)) == ["temperature"]
    again(meter, root, text)
    rows = ArchiveReader(root).read_rows(meter.POINT, "live")
    assert rows["temperature"].null_count == 5
    assert "raw_input_9" not in rows.column_names
    assert rows["pressure"].to_pylist() == [7.0, 7.001, 7.002, 7.003, 7.004]


def test_missing_replies_stay_missing(meter: ModuleType, root: Path) -> None:
    with Archive.open(root) as archive:
        dues = [meter.MIDNIGHT, meter.MIDNIGHT + 1000]
        answers = [meter.words_of(1.5, 65535), [None, None, None]]
        meter.fill(archive, meter.record(), dues, lambda i: answers[i])
        meter.seal(archive)
    again(meter, root, meter.MAP.replace("0.001", "0.002"))
    rows = ArchiveReader(root).read_rows(meter.POINT, "live")
    assert rows["flow"].to_pylist() == [1.5, None]
    assert rows["pressure"].to_pylist() == [None, None]
    assert rows["pressure_flag"].to_pylist() == ["not available", None]
    assert rows["raw_input_2"].to_pylist() == [65535, None]


def test_unsteady_flags_of_the_old_file_are_carried_over(meter: ModuleType, root: Path) -> None:
    """That parts read apart disagreed is not in the words; a new name and scale do not lose it."""
    apart = (
        "register_map: 1\nmeter: Hollow Mere header meter\nserial: {unit_address: 12}\nreadings:\n"
        "  total: {input: 0, type: uint16, unit: m3, plus: [{input: 300, type: uint16, scale: 0.001}],"
        " parts: apart}\n"
    )
    with Archive.open(root) as archive:
        what = meter.record(apart)
        meter.fill(archive, what, [meter.MIDNIGHT], lambda _: [5, 500], cause=f"{UNSTEADY} total")
        meter.fill(archive, what, [meter.MIDNIGHT + 1000], lambda _: [6, 500])
        meter.seal(archive)
    again(meter, root, apart.replace("  total:", "  volume:").replace("0.001", "0.0001"))
    rows = ArchiveReader(root).read_rows(meter.POINT, "live")
    assert rows["volume"].to_pylist() == [None, 6.05]
    assert rows["volume_flag"].to_pylist() == ["unsteady", None]
    assert "total" not in rows.column_names


def test_one_file_tells_both_maps(meter: ModuleType, root: Path) -> None:
    """Map text and hash are the new map's; the hashes of the maps before are listed, oldest first."""
    meter.hours(root, 1)
    with Archive.open(root) as archive:
        table = archive.read(ArchiveReader(root).files()[0])
    for factor in ("0.002", "0.003"):
        table, metadata = redecoded(table, meter.parsed(meter.MAP.replace("0.001", factor)), "1.2")
        table = table.replace_schema_metadata(metadata)
    text = json.loads(metadata["pipeledger.map"])
    assert text == meter.MAP.replace("0.001", "0.003")
    before = [meter.parsed(t).sha256 for t in (meter.MAP, meter.MAP.replace("0.001", "0.002"))]
    assert json.loads(metadata["pipeledger.redecoded"]) == {"from": before, "version": "1.2"}
