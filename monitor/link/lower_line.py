"""The line that supports a cloud of points from below."""

from collections.abc import Sequence

Point = tuple[float, float]


def lower_line(points: Sequence[Point]) -> tuple[Point, float]:
    """The line below all points that lies closest to them: least sum of distances.

    It holds the edge of the lower convex hull above which the mean abscissa lies (Zhang, Liu and Xia, INFOCOM 2002).

    Args:
        points: At least one (x, y), x rising.

    Returns:
        A point of the line and its slope; slope 0 for a single point.
    """
    hull = _lower_hull(points)
    if len(hull) == 1:
        return hull[0], 0.0
    middle = sum(x for x, _ in points) / len(points)
    right = next((k for k in range(1, len(hull)) if hull[k][0] >= middle), len(hull) - 1)
    (x0, y0), (x1, y1) = hull[right - 1], hull[right]
    return (x1, y1), (y1 - y0) / (x1 - x0)


def _lower_hull(points: Sequence[Point]) -> list[Point]:
    """Andrew's monotone chain, lower half."""
    hull: list[Point] = []
    for point in points:
        while len(hull) >= 2 and _turns_down(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    return hull


def _turns_down(a: Point, b: Point, c: Point) -> bool:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) <= 0
