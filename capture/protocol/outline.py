"""The outlines of a body from three sides, as smooth curves. Drawings of our own, as numbers.

A figure is 150 units tall. From the front and from behind x is counted from the middle; from the
side, where the figure faces right, from the line straight down from the armpit. y is counted from
the crown.
"""

from collections.abc import Iterable, Sequence

Curve = Sequence[tuple[float, float]]

HALF: Curve = (
    (3.5, 19), (4.5, 26), (18, 30), (22, 40), (24, 60), (28, 80), (29, 88), (25, 89), (23, 79),
    (19, 60), (16, 44), (13, 58), (16, 75), (16.5, 90), (12, 110), (12, 122), (8, 141), (11, 148),
    (3, 148), (3.2, 138), (3, 120), (3.4, 108), (1, 84),
)  # fmt: skip
"""Half of the outline from the front, from the neck down to the crotch."""

FROM_THE_SIDE: Curve = (
    (3, 19), (4.5, 27), (9.5, 42), (7.5, 56), (8, 68), (7.5, 78), (7, 94), (4, 109), (2, 122),
    (2, 140), (9, 146), (9, 148), (-5, 148), (-4, 140), (-7, 122), (-5, 110), (-8, 97), (-11, 80),
    (-6.5, 63), (-8.5, 48), (-8.5, 34), (-4, 26), (-3, 19),
)  # fmt: skip
"""The whole outline from the right side, without the arm, which is held away."""

HEAD = (7.2, 9.5)
"""The head's half width and half height; its middle is at 10 down."""


def whole() -> tuple[tuple[float, float], ...]:
    """The outline from the front: both halves."""
    return (*HALF, *((-x, y) for x, y in reversed(HALF)))


def smooth(points: Iterable[tuple[float, float]]) -> str:
    """A closed curve through the points, as an SVG path (Catmull-Rom as cubic Bezier)."""
    listed = list(points)
    count = len(listed)
    path = [f"M{listed[0][0]:.2f} {listed[0][1]:.2f}"]
    for place in range(count):
        before, start = listed[place - 1], listed[place]
        end, after = listed[(place + 1) % count], listed[(place + 2) % count]
        first = (start[0] + (end[0] - before[0]) / 7, start[1] + (end[1] - before[1]) / 7)
        second = (end[0] - (after[0] - start[0]) / 7, end[1] - (after[1] - start[1]) / 7)
        path.append(
            f"C{first[0]:.2f} {first[1]:.2f} {second[0]:.2f} {second[1]:.2f} "
            f"{end[0]:.2f} {end[1]:.2f}"
        )
    return " ".join(path) + "Z"
