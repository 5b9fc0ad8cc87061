"""Columns of Arrow from numpy and from texts, built from their buffers.

`pyarrow.array` would do the same, but looks for pandas first and imports it where it is installed: a third of
a second, in a recorder that must not miss a due time.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray


def numbers(
    data: NDArray[Any], kind: pa.DataType, available: NDArray[np.bool_] | None = None
) -> "pa.Array[Any]":
    """A column of `kind` from `data` [n] of the same width; null where `available` [n] is False."""
    held = np.packbits(data, bitorder="little") if kind == pa.bool_() else np.ascontiguousarray(data)
    return pa.Array.from_buffers(kind, len(data), [_validity(available), _buffer(held)])


def texts(items: Sequence[str | None]) -> "pa.Array[Any]":
    """A column of strings; None is null."""
    encoded = [b"" if item is None else item.encode() for item in items]
    ends = np.zeros(len(encoded) + 1, np.int32)
    np.cumsum([len(text) for text in encoded], out=ends[1:])
    available = np.array([item is not None for item in items], np.bool_)
    buffers = [_validity(available), _buffer(ends), pa.py_buffer(b"".join(encoded))]
    return pa.Array.from_buffers(pa.string(), len(encoded), buffers)


def words_of(codes: NDArray[np.uint8], words: Sequence[str | None]) -> "pa.Array[Any]":
    """A column of strings: the word at each code [n]; None is null."""
    told = np.array([word is not None for word in words], np.bool_)
    index = numbers(codes.view(np.int8), pa.int8(), told[codes])
    listed = texts([word or "" for word in words])
    return pa.DictionaryArray.from_arrays(index, listed).cast(pa.string())


def _validity(available: NDArray[np.bool_] | None) -> pa.Buffer | None:
    if available is None or available.all():
        return None
    return _buffer(np.packbits(available, bitorder="little"))


def _buffer(data: NDArray[Any]) -> pa.Buffer:
    return pa.py_buffer(data.data)
