"""Pictures of a session as SVG, drawn line by line, in as many points as a screen has; they need nothing from anywhere."""

from collections.abc import Iterable, Sequence
from html import escape
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from tsdownsample import MinMaxDownsampler

from monitor.values.arrays import Floats

F = TypeVar("F", np.float32, np.float64)


def downsampled(at_s: Floats, values: NDArray[F], points: int) -> tuple[Floats, NDArray[F]]:
    """Lowest and highest of each of points / 2 stretches, in order of time; whatever is missing stays missing.

    Args:
        at_s: Shape (n,), rising.
        values: Shape (n,); NaN where there is no figure.
        points: How many at most, an even number; fewer come back where there are fewer.
    """
    good = np.isfinite(values)
    at_s, values = at_s[good], np.ascontiguousarray(values[good])
    if len(values) <= points:
        return at_s, values
    # Where all values of a stretch are alike its lowest and its highest are one and the same.
    kept = np.unique(MinMaxDownsampler().downsample(values, n_out=points - points % 2))  # type: ignore[no-untyped-call] # no types
    return at_s[kept], values[kept]


WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 720, 150, 58, 8, 10, 24
POINTS = 1200
GAP_S = 1.0
"""A line breaks where nothing was measured for this long."""


def time_line(
    at_s: Floats,
    values: Floats,
    *,
    unit: str,
    limit: float | None = None,
    limit_name: str = "",
    marks: Sequence[tuple[float, str]] = (),
) -> str:
    """A figure over the session.

    Args:
        at_s: Shape (n,), rising, seconds of the stream.
        values: Shape (n,).
        unit: For the axis.
        limit: A level to draw; None for none.
        limit_name: What it is.
        marks: Moments to tick at the bottom, with their words.
    """
    if not np.isfinite(values).any():
        return "<p>Nothing was measured here.</p>"
    first_s, last_s = float(at_s[0]), max(float(at_s[-1]), float(at_s[0]) + 1.0)
    top = _round_up(max(float(np.nanmax(values)), 1.1 * limit if limit is not None else 0.0, 1e-3))

    def place(moment_s: float, value: float) -> tuple[float, float]:
        x = LEFT + (moment_s - first_s) / (last_s - first_s) * (WIDTH - LEFT - RIGHT)
        return x, TOP + (1 - value / top) * (HEIGHT - TOP - BOTTOM)

    parts = [*_axes(first_s, last_s, top, unit)]
    for xs, ys in _runs(*downsampled(at_s, values, POINTS)):
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in map(place, xs.tolist(), ys.tolist()))
        parts.append(f'<polyline class="line" points="{points}"/>')
    if limit is not None:
        parts += _limit_line(place(first_s, limit)[1], limit_name)
    parts += (_tick(place(at, 0.0)[0], words) for at, words in marks if first_s <= at <= last_s)
    return f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img">{"".join(parts)}</svg>'


def clock_words(seconds: float) -> str:
    """Hours, minutes and seconds."""
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def counted(count: int, thing: str) -> str:
    """So many of a thing whose name takes an s."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def _limit_line(y: float, name: str) -> Iterable[str]:
    yield f'<line class="limit" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
    yield f'<text class="limit-name" x="{WIDTH - RIGHT}" y="{y - 3:.1f}">{escape(name)}</text>'


def _tick(x: float, words: str) -> str:
    return f'<path class="tick" d="M{x:.1f} {HEIGHT - BOTTOM} l-3 -7 h6 z"><title>{escape(words)}</title></path>'


def _axes(first_s: float, last_s: float, top: float, unit: str) -> Iterable[str]:
    base = HEIGHT - BOTTOM
    for share in (0.0, 0.5, 1.0):
        y = TOP + (1 - share) * (base - TOP)
        yield f'<line class="grid" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
        yield f'<text class="scale" x="{LEFT - 5}" y="{y + 4:.1f}">{share * top:g} {escape(unit)}</text>'
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        x = LEFT + share * (WIDTH - LEFT - RIGHT)
        anchor = "start" if share == 0 else "end" if share == 1 else "middle"
        words = clock_words(first_s + share * (last_s - first_s))
        yield f'<text class="time" text-anchor="{anchor}" x="{x:.1f}" y="{HEIGHT - 8}">{words}</text>'


def _runs(at_s: Floats, values: Floats) -> Iterable[tuple[Floats, Floats]]:
    usual_s = float(np.median(np.diff(at_s))) if len(at_s) > 1 else 0.0
    breaks = np.flatnonzero(np.diff(at_s) > max(GAP_S, 6 * usual_s)) + 1
    return zip(np.split(at_s, breaks), np.split(values, breaks), strict=True)


def _round_up(value: float) -> float:
    """The next 1, 2, 2.5 or 5 times a power of ten: the scale's top and its half are easy to read."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(next(step * power for step in (1, 2, 2.5, 4, 5, 6, 8, 10) if step * power >= value * (1 - 1e-9)))
