"""Every reading of a sifted stream as one Parquet file, for checks and analysis outside."""

import os
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import pyarrow as pa
import pyarrow.parquet
from numpy.typing import NDArray

from monitor.errors import CaptureError
from monitor.sessions.table_log import described
from monitor.values import AggregateBlock, ReadingBlock, Step

ROWS_A_GROUP = 100_000
"""Rows are written in groups of at least so many."""


_RMS = "root mean square over the window; NaN: not measured. Where good is false it may be a lower bound (clipped) or wrong"
_HALF = "half width of a 95 % interval of {} (JCGM 100, coverage factor included); NaN: none is given for this window"
_CLIPPED = "true: {} stood at the end of the sensor's range, so they, the watts and all that is made of them are lower bounds"
SCHEMA = pa.schema(
    [
        described("time_s", pa.float64(), "s", "middle of the window, seconds from the first scan or line of the stream"),
        described("district", pa.dictionary(pa.int16(), pa.string()), "", "name in the layout file"),
        described(
            "window",
            pa.dictionary(pa.int16(), pa.string()),
            "",
            "cycle: one mains cycle, refreshed each half cycle; 200ms: 10 cycles at 50 Hz or 12 at 60 Hz, without overlap; "
            "line: as a board that prints readings gave it",
        ),
        described("volts_rms", pa.float64(), "V", _RMS),
        described("amps_rms", pa.float64(), "A", _RMS),
        described(
            "watts", pa.float64(), "W", "real power, mean of volts times amps; negative: flows backwards; NaN: not measured"
        ),
        described("hertz", pa.float64(), "Hz", "mains frequency that the window is locked to; NaN: no AC to measure it by"),
        described("u95_volts", pa.float64(), "V", _HALF.format("volts_rms")),
        described("u95_amps", pa.float64(), "A", _HALF.format("amps_rms")),
        described("u95_watts", pa.float64(), "W", _HALF.format("watts")),
        described(
            "good",
            pa.bool_(),
            "",
            "false: a sensor is known to be wrong, clipped or blind to this waveform; do not rely on the figures",
        ),
        described("volts_clipped", pa.bool_(), "", _CLIPPED.format("volts")),
        described("amps_clipped", pa.bool_(), "", _CLIPPED.format("amps")),
    ]
)


class ReadingsFile:
    """Writes readings as steps bring them; a context manager that closes the file.

    Args:
        path: The file; an older one is replaced.

    Raises:
        CaptureError: The file cannot be written.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._waiting: list[pa.RecordBatch] = []
        self._rows = 0
        try:
            # As bytes: the library takes no name that is not UTF-8.
            self._file = pa.OSFile(os.fsencode(path), "wb")
        except OSError as error:
            raise self._refused(error) from error
        self._writer = pa.parquet.ParquetWriter(self._file, SCHEMA, compression="zstd")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._write()
        self._writer.close()
        self._file.close()

    def add(self, step: Step) -> None:
        """Take the readings of one step.

        Raises:
            CaptureError: They cannot be written.
        """
        batches = [*map(_batch, step.readings), *map(_batch, step.aggregates)]
        self._waiting += batches
        self._rows += sum(batch.num_rows for batch in batches)
        if self._rows >= ROWS_A_GROUP:
            self._write()

    def _write(self) -> None:
        if not self._waiting:
            return
        try:
            self._writer.write_table(pa.Table.from_batches(self._waiting, schema=SCHEMA))
        except OSError as error:
            raise self._refused(error) from error
        self._waiting, self._rows = [], 0

    def _refused(self, error: OSError) -> CaptureError:
        return CaptureError(f"{self._path} cannot be written ({error.strerror or error}): check its folder and its rights")


def _batch(block: ReadingBlock | AggregateBlock) -> pa.RecordBatch:
    """Rows of one block, district by district."""
    shape = block.volts_rms.shape
    doubts = np.full((3, *shape), np.nan)
    window = "line"
    if isinstance(block, AggregateBlock):
        window = "200ms"
        doubts = np.stack([block.volts_u95, block.amps_u95, block.watts_u95])
    elif not np.isnan(block.volts_mean).all():
        window = "cycle"
        doubts = doubts if block.u95 is None else np.moveaxis(block.u95, 2, 0)
    good = np.isfinite(block.volts_rms) & np.isfinite(block.amps_rms) if block.good is None else block.good
    marks = [good, *(np.zeros(shape, dtype=bool) if m is None else m for m in (block.volts_clipped, block.amps_clipped))]
    rows = shape[0]
    measured = np.stack([block.volts_rms, block.amps_rms, block.watts])
    doubts = np.where(np.isnan(measured), np.nan, doubts)
    figures = [*measured, np.repeat(block.frequency_hz[:, None], shape[1], axis=1), *doubts]
    columns = [
        pa.array(np.tile((block.start_s + block.end_s) / 2, shape[1])),
        _named(np.repeat(np.arange(shape[1], dtype=np.int16), rows), block.districts),
        _named(np.zeros(rows * shape[1], dtype=np.int16), (window,)),
        *(pa.array(each.T.reshape(-1)) for each in (*figures, *marks)),
    ]
    return pa.record_batch(columns, schema=SCHEMA)


def _named(places: NDArray[np.int16], names: tuple[str, ...]) -> pa.DictionaryArray:
    return pa.DictionaryArray.from_arrays(pa.array(places), pa.array(names))
