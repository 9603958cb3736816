"""Drawings of the sites: a plain body outline, the landmark's line and the fold's direction.

Our own drawings, as data: an SVG for the report, lines of text for a terminal. They show about
where a site lies; the landmark in words is what counts.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from xml.sax.saxutils import escape

from capture.protocol.sites import Fold, Side, Site

Point = tuple[int, int]


class View(StrEnum):
    """From where the body is seen."""

    FRONT = "front"
    SIDE = "side"
    BACK = "back"


@dataclass(frozen=True, slots=True)
class Picture:
    """Where a site lies on the right side of a body.

    `at` is the site and `line` the ends of the landmark's line in the SVG, which is 200 wide and
    400 high; `cell` is the row and the column in the text. `lean` is how a diagonal fold leans:
    1 for its upper end to the right of the drawing, -1 for the left.
    """

    view: View
    at: Point
    line: tuple[Point, Point]
    cell: Point
    lean: int = 1


PICTURES: Mapping[str, Picture] = {
    "chest": Picture(View.FRONT, (73, 108), ((66, 98), (81, 118)), (5, 9), -1),
    "midaxillary": Picture(View.SIDE, (101, 140), ((101, 100), (101, 210)), (7, 10)),
    "triceps": Picture(View.BACK, (148, 132), ((142, 88), (154, 176)), (6, 17)),
    "subscapular": Picture(View.BACK, (119, 138), ((112, 100), (116, 132)), (6, 13), -1),
    "abdominal": Picture(View.FRONT, (90, 178), ((90, 178), (100, 178)), (8, 10)),
    "suprailiac": Picture(View.FRONT, (74, 190), ((70, 100), (74, 200)), (9, 8), -1),
    "thigh": Picture(View.FRONT, (82, 262), ((80, 218), (84, 306)), (11, 9)),
    "biceps": Picture(View.FRONT, (51, 132), ((58, 88), (45, 176)), (6, 5)),
    "iliac_crest": Picture(View.SIDE, (101, 188), ((101, 100), (101, 200)), (9, 10)),
    "supraspinale": Picture(View.FRONT, (79, 196), ((76, 212), (68, 100)), (9, 9), -1),
    "calf": Picture(View.FRONT, (91, 338), ((91, 310), (91, 370)), (14, 10)),
}
"""By the id that a protocol's file names. Left and right are as the viewer sees them: the right
side of the body is on the left from the front, on the right from behind."""

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

_WIDTH, _HEIGHT = 200, 400
_HALF_FOLD = 12
_BODY = (
    '<circle cx="100" cy="40" r="24"/>'
    '<path d="M90 64 L90 76 L62 84 Q52 88 50 104 L34 200 L44 202 L64 118 L68 200 L70 214 '
    "L76 388 L94 388 L98 226 L102 226 L106 388 L124 388 L130 214 L132 200 L136 118 L156 202 "
    'L166 200 L150 104 Q148 88 138 84 L110 76 L110 64"/>'
)
_BODY_FROM_THE_SIDE = (
    '<circle cx="100" cy="40" r="24"/>'
    '<path d="M92 64 L90 78 Q78 100 80 150 L78 214 L86 388 L122 388 L112 380 L118 300 L124 214 '
    'L120 150 Q124 100 110 78 L108 64"/>'
)


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


def svg(site: Site, fold: Fold | None = None) -> str:
    """The site as one SVG element, empty for a site without a drawing.

    The dashed line is the landmark's, the heavy line the crest of the fold.
    """
    picture = picture_of(site)
    if picture is None:
        return ""
    direction = fold or site.fold
    body = _BODY_FROM_THE_SIDE if picture.view is View.SIDE else _BODY
    (x1, y1), (x2, y2) = picture.line
    x, y = picture.at
    dx, dy = _along(direction, picture.lean)
    drawn = (
        f'<g fill="none" stroke="#666" stroke-width="2">{body}</g>'
        f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="#06c" stroke-width="2" '
        'stroke-dasharray="5 4"/>'
        f'<line x1="{x - dx}" y1="{y - dy}" x2="{x + dx}" y2="{y + dy}" stroke="#c00" '
        'stroke-width="5" stroke-linecap="round"/>'
    )
    if site.side is Side.LEFT:
        drawn = f'<g transform="translate({_WIDTH} 0) scale(-1 1)">{drawn}</g>'
    title = escape(f"{site.title}, {direction.value} fold, seen from the {picture.view.value}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img">'
        f"<title>{title}</title><desc>{escape(site.landmark)}</desc>{drawn}</svg>"
    )


def _along(direction: Fold, lean: int) -> Point:
    """From the middle of the fold to one end."""
    match direction:
        case Fold.VERTICAL:
            return 0, _HALF_FOLD
        case Fold.HORIZONTAL:
            return _HALF_FOLD, 0
        case Fold.DIAGONAL:
            return -lean * _HALF_FOLD * 3 // 4, _HALF_FOLD * 3 // 4
