"""Drawings of the sites: a plain body outline, the landmark's line and the fold's direction.

Our own drawings, as data: an SVG for the report, lines of text for a terminal. They show about
where a site lies; the landmark in words is what counts.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from xml.sax.saxutils import escape

from capture.protocol.outline import FROM_THE_SIDE, HEAD, smooth, whole
from capture.protocol.sites import HALF, Fold, Side, Site

Cell = tuple[int, int]
Point = tuple[float, float]


class View(StrEnum):
    """From where the body is seen."""

    FRONT = "front"
    SIDE = "side"
    BACK = "back"


@dataclass(frozen=True, slots=True)
class Picture:
    """Where a site lies on the right side of a body, in the units of `outline`.

    `ends` are those of the landmark's line and `at` is the site. From the front and from behind x
    is counted from the middle outwards; from the side, forwards. `cell` is the row and the column
    in the text. `lean` is how a diagonal fold leans: its lower end lies so far outwards (from the
    side: forwards) for a length of one down. `along`: an upright fold follows the landmark's line,
    as on a limb. `also` is a second line of the landmark.
    """

    view: View
    at: Point
    ends: tuple[Point, Point]
    cell: Cell
    lean: float = 1.0
    along: bool = False
    also: tuple[Point, Point] | None = None


PICTURES: Mapping[str, Picture] = {
    "chest": Picture(View.FRONT, (11.7, 41.4), ((15.4, 39), (8, 43.8)), (5, 9), -1),
    "midaxillary": Picture(
        View.SIDE, (0, 51), ((0, 37), (0, 72)), (7, 10), also=((0, 51), (8.2, 51))
    ),
    "triceps": Picture(View.BACK, (20.3, 44.8), ((19.2, 31), (21.4, 58.5)), (6, 17), along=True),
    "subscapular": Picture(View.BACK, (9.2, 51.8), ((6, 38), (7.6, 49)), (6, 13)),
    "abdominal": Picture(View.FRONT, (3.4, 66), ((0, 66), (3.4, 66)), (8, 10)),
    "suprailiac": Picture(View.FRONT, (13.6, 69), ((15.4, 40), (13.5, 72)), (9, 8), -1),
    "thigh": Picture(View.FRONT, (8, 95), ((8, 83.5), (8, 106.5)), (11, 9), along=True),
    "biceps": Picture(View.FRONT, (20.3, 44.8), ((19.2, 31), (21.4, 58.5)), (6, 5), along=True),
    "iliac_crest": Picture(View.SIDE, (0, 67.5), ((0, 37), (0, 71)), (9, 10), 1.6),
    "supraspinale": Picture(
        View.FRONT, (11.3, 70), ((15.4, 40), (10.4, 76.5)), (9, 9), -1, also=((16, 70), (11.3, 70))
    ),
    "calf": Picture(View.FRONT, (4.6, 121), ((2.8, 121), (12.2, 121)), (14, 10)),
}
"""By the id that a protocol's file names."""

_TALL = (
    "         ___         ",
    "        /   \\        ",
    "        \\___/        ",
    "      ___| |___      ",
    "     /         \\     ",
    "    /  |     |  \\    ",
    "   /  /|     |\\  \\   ",
    "  /  / |     | \\  \\  ",
    "  | |  |     |  | |  ",
    "  |_|  |_____|  |_|  ",
    "       |  |  |       ",
    "       |  |  |       ",
    "       |__|__|       ",
    "       |  |  |       ",
    "       |  |  |       ",
    "       |__|__|       ",
)
_FROM_THE_SIDE = (
    "         ___         ",
    "        /   \\        ",
    "        \\___/        ",
    "        _| |_        ",
    "       /     \\       ",
    "       |     |       ",
    "       |     |       ",
    "       |     |       ",
    "       |     |       ",
    "       |_____|       ",
    "       |     |       ",
    "       |     |       ",
    "       |_____|       ",
    "        |   |        ",
    "        |   |        ",
    "        |___|_       ",
)
_MARK = "X"
_SIGNS = {Fold.VERTICAL: "|", Fold.HORIZONTAL: "-", Fold.DIAGONAL: "/"}

_WIDTH, _HEIGHT = 200.0, 400.0
_UNIT = 2.6
_CROWN = 5.0
_HALF_FOLD = 9.0
_LANDMARKS: Mapping[View, str] = {
    # Nipples, navel, the crests of the hip bones, kneecaps.
    View.FRONT: (
        '<circle cx="79.2" cy="118.9" r="2"/><circle cx="120.8" cy="118.9" r="2"/>'
        '<circle cx="100" cy="176.6" r="2.4"/>'
        '<path d="M57 186 Q66 178 74 201 M143 186 Q134 178 126 201"/>'
        '<ellipse cx="79.2" cy="289" rx="6" ry="6.6"/>'
        '<ellipse cx="120.8" cy="289" rx="6" ry="6.6"/>'
    ),
    # The crest of the hip bone, and the armpit.
    View.SIDE: '<path d="M86 191 Q100 180 116 202"/><path d="M92 104 Q100 94 108 104"/>',
    # Spine, shoulder blades, points of the elbows.
    View.BACK: (
        '<path d="M100 72 V196"/>'
        '<path d="M114 97 L119.5 132 L137 104 Z M86 97 L80.5 132 L63 104 Z"/>'
        '<circle cx="155.6" cy="157" r="2.2"/><circle cx="44.4" cy="157" r="2.2"/>'
    ),
}
"""What the landmarks are found by, in the SVG's own units: the site's line begins at them."""


def picture_of(site: Site) -> Picture | None:
    """The drawing that a site's protocol names, None if it names none."""
    return PICTURES.get(site.picture)


def text_lines(site: Site, fold: Fold | None = None) -> tuple[str, ...]:
    """The site as lines of text: the figure, then the words.

    `fold` is the direction where it differs from the protocol's. Without a drawing only the
    words remain.
    """
    return (*figure_lines(site), *picture_words(site, fold))


def picture_words(site: Site, fold: Fold | None = None) -> tuple[str, ...]:
    """What the drawing shows, in words: landmark, direction of the fold, tape."""
    direction = fold or site.fold
    words: tuple[str, ...] = (
        f"{site.title}: {site.landmark}.",
        f"Fold {direction.value} ({_SIGNS[direction]}), {site.side.value} side.",
    )
    if site.tape_from is not None:
        words += (f"Tape from {site.tape_from} to {site.tape_to}; the mark from {site.tape_from}.",)
    picture = picture_of(site)
    if picture is not None:
        words += (f"Seen from the {picture.view.value}; X is the site.",)
    return words


def figure_lines(site: Site) -> tuple[str, ...]:
    """The figure as lines of text, with an X at the site; empty for a site without a drawing."""
    picture = picture_of(site)
    if picture is None:
        return ()
    row, column = picture.cell
    rows = list(_FROM_THE_SIDE if picture.view is View.SIDE else _TALL)
    column = column if site.side is Side.RIGHT else len(rows[row]) - 1 - column
    rows[row] = f"{rows[row][:column]}{_MARK}{rows[row][column + 1 :]}"
    return tuple(each.rstrip() for each in rows)


def svg(site: Site, fold: Fold | None = None, share: tuple[int, int] = HALF) -> str:
    """The site as one SVG element, empty for a site without a drawing.

    The dashed line is the landmark's, the heavy line the crest of the fold. `share` is where on
    the tape's length the mark lies.
    """
    picture = picture_of(site)
    if picture is None:
        return ""
    direction = fold or site.fold
    ends = [_placed(picture.view, end) for end in picture.ends]
    middle = _placed(picture.view, picture.at)
    if share != HALF:
        part = share[0] / share[1]
        middle = tuple(a + (b - a) * part for a, b in zip(*ends, strict=True))
    x, y = middle
    dx, dy = _along(direction, picture)
    also = ""
    if picture.also is not None:
        (ax, ay), (bx, by) = (_placed(picture.view, end) for end in picture.also)
        also = f'<path d="M{ax:.1f} {ay:.1f} L{bx:.1f} {by:.1f}" {_DASHED}/>'
    drawn = (
        f"{_body(picture.view)}{also}"
        f"<line {_between(*ends[0], *ends[1])} {_DASHED}/>"
        f"{''.join(_dot(*end) for end in ends)}"
        f'<line {_between(x - dx, y - dy, x + dx, y + dy)} stroke="#c00" '
        'stroke-width="5" stroke-linecap="round"/>'
    )
    if site.side is Side.LEFT:
        drawn = f'<g transform="translate({_WIDTH:g} 0) scale(-1 1)">{drawn}</g>'
    title = escape(f"{site.title}, {direction.value} fold, seen from the {picture.view.value}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img">'
        f"<title>{title}</title><desc>{escape(site.landmark)}</desc>{drawn}</svg>"
    )


_DASHED = 'stroke="#06c" stroke-width="2" stroke-dasharray="5 4" fill="none"'


def _body(view: View) -> str:
    points = FROM_THE_SIDE if view is View.SIDE else whole()
    curve = smooth((_WIDTH / 2 + x * _UNIT, _CROWN + y * _UNIT) for x, y in points)
    across, down = (half * _UNIT for half in HEAD)
    return (
        f'<path d="{curve}" fill="#f1f1ee" stroke="#777" stroke-width="1.6"/>'
        f'<ellipse cx="{_WIDTH / 2:g}" cy="{_CROWN + 10 * _UNIT:g}" rx="{across:.1f}" '
        f'ry="{down:.1f}" fill="#f1f1ee" stroke="#777" stroke-width="1.6"/>'
        f'<g fill="none" stroke="#999" stroke-width="1.2">{_LANDMARKS[view]}</g>'
    )


def _placed(view: View, point: Point) -> Point:
    """A point in the SVG: the right side is on the viewer's left from the front."""
    outwards = -1 if view is View.FRONT else 1
    return _WIDTH / 2 + outwards * point[0] * _UNIT, _CROWN + point[1] * _UNIT


def _dot(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.4" fill="#06c"/>'


def _between(x1: float, y1: float, x2: float, y2: float) -> str:
    return f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'


def _along(direction: Fold, picture: Picture) -> Point:
    """From the middle of the fold to its lower end."""
    outwards = -1 if picture.view is View.FRONT else 1
    match direction:
        case Fold.VERTICAL if picture.along:
            (x1, y1), (x2, y2) = picture.ends
            slope = outwards * (x2 - x1) / (y2 - y1)
        case Fold.VERTICAL:
            slope = 0.0
        case Fold.HORIZONTAL:
            return _HALF_FOLD, 0.0
        case Fold.DIAGONAL:
            slope = outwards * picture.lean
    down = _HALF_FOLD / (1 + slope * slope) ** 0.5
    return slope * down, down
