"""The readings of a session as arrays, one column a figure."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from monitor.errors import SessionDamagedError
from monitor.sessions.buckets import BUCKET_S
from monitor.sessions.folder import SessionFolder
from monitor.sessions.readings_log import LATER_COLUMNS, SCHEMA, STEM
from monitor.sessions.table_log import part_paths, read_part
from monitor.values.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredDistrict:
    """Rows of one district, n of them, a fifth of a second each where nothing is missing.

    Attributes:
        name: Its name.
        at_s: Shape (n,): where each row begins, seconds of the stream, rising.
        figures: Shape (n,) each, by column name.
    """

    name: str
    at_s: Floats
    figures: dict[str, Floats]

    @property
    def seconds(self) -> float:
        """Time that the rows cover."""
        return len(self.at_s) * BUCKET_S


def load_readings(session: SessionFolder, columns: tuple[str, ...]) -> dict[str, StoredDistrict]:
    """Readings by district, of a session that is being recorded up to what the disk has.

    Args:
        session: The session.
        columns: Which figures.

    Raises:
        SessionDamagedError: They cannot be read.
    """
    tables = []
    for path in part_paths(session.readings, STEM):
        try:
            part = read_part(path, ["at_s", "district", *columns], later=LATER_COLUMNS)
        except (pa.ArrowInvalid, OSError, KeyError) as error:
            raise SessionDamagedError(
                f"{path} cannot be read ({error}): 'pilotlamp sessions recover' puts the session in order"
            ) from error
        if part is not None:
            # An open part has its names as plain words.
            tables.append(part.cast(pa.schema([SCHEMA.field(name) for name in part.column_names])))
    if not tables:
        return {}
    table = pa.concat_tables(tables).unify_dictionaries().combine_chunks()
    district = table["district"].combine_chunks()
    if isinstance(district, pa.ChunkedArray):
        district = district.chunk(0)
    codes = district.indices.to_numpy(zero_copy_only=False)
    at_s = table["at_s"].to_numpy()
    figures = {name: table[name].to_numpy() for name in columns}
    found = {}
    for code, name in enumerate(district.dictionary.to_pylist()):
        rows = np.flatnonzero(codes == code)
        rows = rows[np.argsort(at_s[rows], kind="stable")]
        found[name] = StoredDistrict(
            name=name, at_s=at_s[rows], figures={key: values[rows].astype(np.float64) for key, values in figures.items()}
        )
    return found
