"""Rows of a table in parts: the open part is an Arrow stream that survives any cut, sealed parts are Parquet."""

import contextlib
import io
import os
from collections.abc import Callable, Sequence, Sized
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.ipc
import pyarrow.parquet
from numpy.typing import NDArray

from monitor.sessions.durable import AppendedFile, write_whole

ROWS_LIMIT = 1_000_000
"""Of a part: 300 s of 200 districts, five rows a second each, are 300,000."""
UNPACKED_LIMIT_BYTES = 500_000_000
Batches = list[pa.RecordBatch]
Parquet = Callable[[Batches], bytes]
"""Makes the bytes of a Parquet file of batches."""


class TableLog:
    """Appends to one table of a session.

    The open part has a name that begins with an underscore: readers of Parquet folders leave it out.

    Args:
        folder: Where the parts lie; must exist.
        stem: Name before the part's number.
        part: Number of the first part to write.
        schema: Of the batches.
        parquet: Makes a sealed part's bytes.
    """

    def __init__(self, folder: Path, stem: str, part: int, schema: pa.Schema, parquet: Parquet) -> None:
        self._folder, self._stem, self._schema, self._parquet = folder, stem, schema, parquet
        self._begin(part)

    def append(self, batch: pa.RecordBatch) -> None:
        """Append rows.

        Raises:
            OSError: They could not be written.
        """
        self.file.write(batch.serialize().to_pybytes())
        self._batches.append(batch)

    def next_part(self, part: int) -> None:
        """Seal the open part and begin another."""
        self.seal()
        self._begin(part)

    def seal(self) -> None:
        """Seal the open part; an empty one goes without a trace.

        Raises:
            OSError: There is no room: the open file stays as it is.
        """
        if self._batches:
            write_whole(sealed_path(self.file.path), self._parquet(self._batches))
        self.file.close()
        self.file.path.unlink()

    def seal_of_left(self) -> Callable[[], object]:
        """What seals a part that is left now, as it was at its last whole batch, whatever is still written to it."""
        return partial(seal_open, self.file.path, self._parquet, self.file.whole_bytes)

    def _begin(self, part: int) -> None:
        self._batches: Batches = []
        self.file = AppendedFile(self._folder / f"_{self._stem}-{part:04d}.arrows")
        self.file.write(self._schema.serialize().to_pybytes())


def described(name: str, kind: pa.DataType, unit: str, meaning: str) -> pa.Field:
    """A column that says its unit and what it means."""
    return pa.field(name, kind, metadata={"unit": unit, "meaning": meaning})


def arrow_column(values: Sequence[object] | NDArray[Any], kind: pa.DataType) -> pa.Array:
    """An Arrow array without nulls, from its buffers.

    ``pa.array`` asks whether it was given something of pandas and imports pandas to know: 0.7 s on a fast computer, at the very
    moment when the first bytes come.

    Args:
        values: Numbers, strings, or arrays of numbers for a list type.
        kind: Of the column.
    """
    if pa.types.is_string(kind):
        texts = [str(value).encode() for value in values]
        return pa.StringArray.from_buffers(len(texts), _offsets(texts), pa.py_buffer(b"".join(texts)))
    if pa.types.is_list(kind):
        rows = [np.asarray(row) for row in values]
        flat = np.concatenate(rows) if rows else np.empty(0)
        return pa.Array.from_buffers(kind, len(rows), [None, _offsets(rows)], children=[arrow_column(flat, kind.value_type)])
    letter = "f" if pa.types.is_floating(kind) else "i"
    numbers = np.ascontiguousarray(values, dtype=f"{letter}{kind.bit_width // 8}")
    return pa.Array.from_buffers(kind, len(numbers), [None, pa.py_buffer(numbers)])


def _offsets(rows: Sequence[Sized]) -> pa.Buffer:
    return pa.py_buffer(np.cumsum([0, *map(len, rows)], dtype=np.int32))


def sealed_path(open_path: Path) -> Path:
    """The name that an open part gets when it is sealed."""
    return open_path.with_name(open_path.name.removeprefix("_")).with_suffix(".parquet")


def open_batches(path: Path, size_bytes: int | None = None) -> Batches:
    """What an open part holds, as far as it can be read; only its beginning where a size is given."""
    batches: Batches = []
    with contextlib.suppress(pa.ArrowInvalid, OSError), pa.ipc.open_stream(io.BytesIO(path.read_bytes()[:size_bytes])) as stream:
        for batch in stream:
            batches.append(batch)
    return batches


def part_paths(folder: Path, stem: str) -> list[Path]:
    """The parts in their order, the open one too; of one that is being sealed at this moment, the sealed form."""
    sealed = {path.stem: path for path in folder.glob(f"{stem}-*.parquet")}
    left_open = {path.stem.removeprefix("_"): path for path in folder.glob(f"_{stem}-*.arrows")}
    return [path for _, path in sorted({**left_open, **sealed}.items())]


def read_part(path: Path, columns: list[str] | None = None, later: Sequence[str] = ()) -> pa.Table | None:
    """A part, sealed or open; None where an open one holds nothing yet.

    Args:
        path: Of :func:`part_paths`.
        columns: Which; None takes all.
        later: Columns that older parts lack: 0 there.

    Raises:
        pa.ArrowInvalid: It is damaged.
        OSError: It cannot be read.
        KeyError: It holds no such column.
    """
    table, path = _open_table(path)
    if table is None and path.suffix != ".parquet":
        return None
    table = _sealed_table(path, columns, later) if table is None else table
    if columns is None:
        return table
    for name in later:
        if name in columns and name not in table.column_names:
            table = table.append_column(name, arrow_column(np.zeros(len(table)), pa.int32()))
    return table.select(columns)


def _sealed_table(path: Path, columns: list[str] | None, later: Sequence[str]) -> pa.Table:
    # Not pa.parquet.read_table: that imports pandas, which takes half a second.
    with _opened(path) as source, pa.parquet.ParquetFile(source) as file:
        _check_size(path, file.metadata)
        there = file.schema_arrow.names
        if absent := [name for name in columns or () if name not in there and name not in later]:
            raise KeyError(f"{path.name} has no column {absent[0]}")
        return file.read(columns)


def _opened(path: Path) -> pa.NativeFile:
    """Its name as bytes: the library takes none that is not UTF-8."""
    return pa.OSFile(os.fsencode(path))


def _open_table(path: Path) -> tuple[pa.Table | None, Path]:
    """What an open part holds; where it was sealed meanwhile, the path of that."""
    if path.suffix == ".parquet":
        return None, path
    batches, sealed = open_batches(path), sealed_path(path)
    if batches:
        return pa.Table.from_batches(batches), path
    return None, sealed if sealed.exists() else path


def _check_size(path: Path, metadata: pa.parquet.FileMetaData) -> None:
    """What a Parquet file says of itself, before a row of it is read.

    Raises:
        pa.ArrowInvalid: It would grow out of all measure.
    """
    unpacked = sum(metadata.row_group(k).total_byte_size for k in range(metadata.num_row_groups))
    if metadata.num_rows > ROWS_LIMIT or unpacked > UNPACKED_LIMIT_BYTES:
        raise pa.ArrowInvalid(f"{path.name} holds more than a part of a session can: {metadata.num_rows} rows")


def seal_open(path: Path, parquet: Parquet, size_bytes: int | None = None) -> int:
    """Seal a part that was left open, from its file, as far as it can be read; only its beginning where a size is given.

    Returns:
        How many rows were saved.
    """
    batches: Batches = []
    if not sealed_path(path).exists():
        batches = open_batches(path, size_bytes)
        if batches:
            write_whole(sealed_path(path), parquet(batches))
    path.unlink(missing_ok=True)
    return sum(batch.num_rows for batch in batches)


def is_whole(path: Path) -> bool:
    """True where a Parquet part can be opened."""
    try:
        with _opened(path) as source:
            _check_size(path, pa.parquet.read_metadata(source))
    except (pa.ArrowInvalid, OSError):
        return False
    return True
