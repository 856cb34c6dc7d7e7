"""The course of a district over a session, ready to be drawn at any width: highest and lowest, whatever the zoom."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.sessions.pictures import downsampled
from monitor.sessions.readings_log import StoredDistrict
from monitor.values.arrays import Floats

Floats32 = NDArray[np.float32]

COURSE_COLUMNS = ("volts_lowest", "volts_highest", "amps_lowest", "amps_highest")
POINTS_LIMIT = 6000


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One quantity over time, n points.

    Attributes:
        at_s: Shape (n,): seconds of the stream, never falling.
        values: Shape (n,), single precision; nothing is missing within, a hole is where times are far apart.
    """

    at_s: Floats
    values: Floats32

    def part(self, from_s: float, to_s: float, points: int) -> "Course":
        """What lies between two moments, a point on either side where there is one, in so many points at most.

        The lowest and the highest of every stretch are among them.
        """
        first, last = np.searchsorted(self.at_s, [from_s, to_s])
        first, last = max(0, int(first) - 1), min(len(self.at_s), int(last) + 1)
        at_s, values = downsampled(self.at_s[first:last], self.values[first:last], min(points, POINTS_LIMIT))
        return Course(at_s=at_s, values=values.astype(np.float32, copy=False))


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictCourse:
    """Volts and amps of one district."""

    volts: Course
    amps: Course

    def part(self, from_s: float, to_s: float, points: int) -> "DistrictCourse":
        """As :meth:`Course.part`, of both."""
        return DistrictCourse(volts=self.volts.part(from_s, to_s, points), amps=self.amps.part(from_s, to_s, points))


def courses(stored: Mapping[str, StoredDistrict]) -> dict[str, DistrictCourse]:
    """From kept readings, with :data:`COURSE_COLUMNS` at least: each row gives its lowest and its highest."""
    return {
        name: DistrictCourse(
            volts=_between(rows, "volts_lowest", "volts_highest"), amps=_between(rows, "amps_lowest", "amps_highest")
        )
        for name, rows in stored.items()
    }


def course_of(at_s: Floats, values: Floats | Floats32) -> Course:
    """Of values at moments, both of shape (n,); what is missing is left out."""
    good = np.isfinite(values)
    return Course(at_s=at_s[good], values=values[good].astype(np.float32))


def _between(rows: StoredDistrict, lowest: str, highest: str) -> Course:
    values = np.column_stack([rows.figures[lowest], rows.figures[highest]]).reshape(-1)
    return course_of(np.repeat(rows.at_s, 2), values)
