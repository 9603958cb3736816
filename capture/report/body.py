"""A body outline with the folds drawn to scale, as SVG. The drawing is our own.

The picture is measured in millimetres: printed at its own size, a bar is as long as the fold is
thick (scale 1:1), or half of it where a fold would not fit the paper.
"""

from collections.abc import Collection, Mapping
from typing import NamedTuple

from capture.composition.uncertainty import one_decimal
from capture.protocol.outline import smooth, whole
from capture.report.markup import escape
from capture.report.names import spaced

WIDTH_MM, HEIGHT_MM = 186.0, 104.0
ROOM_MM = 45.0
"""Room for a bar beside the figures."""
_FRONT_X, _BACK_X = 69.5, 116.5
_FIGURE = 0.655

_PLACES = {
    "chest": ("front", 11.0, 39.0),
    "midaxillary": ("front", 13.5, 52.0),
    "abdominal": ("front", 3.0, 66.0),
    "suprailiac": ("front", 13.0, 68.0),
    "iliac_crest": ("front", 14.5, 66.0),
    "supraspinale": ("front", 11.0, 71.0),
    "thigh": ("front", 9.0, 95.0),
    "biceps": ("front", 20.5, 47.0),
    "calf": ("front", 5.0, 121.0),
    "triceps": ("back", 21.0, 47.0),
    "subscapular": ("back", 9.0, 47.0),
}
"""Site: which figure, how far from the middle and how far down, on the right side of the body."""


def body_svg(values_mm: Mapping[str, float], left: Collection[str] = ()) -> str:
    """The outline with a bar for each site; sites without a place on it are left out.

    `values_mm` are the folds by site; `left` those that were measured on the left side.
    Everything in the picture is in its text alternative too.
    """
    placed = {site: value for site, value in values_mm.items() if site in _PLACES}
    largest = max(placed.values(), default=0.0)
    scale = 1.0 if largest <= ROOM_MM else ROOM_MM / max(largest, 1.0)
    if scale < 1.0:
        scale = 0.5 if largest * 0.5 <= ROOM_MM else 0.25
    names = {site: f"{spaced(site)}, left" if site in left else spaced(site) for site in placed}
    said = "; ".join(f"{names[site]} {one_decimal(value)} mm" for site, value in placed.items())
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="body" role="img" '
        f'width="{WIDTH_MM:g}mm" height="{HEIGHT_MM:g}mm" '
        f'viewBox="0 0 {WIDTH_MM:g} {HEIGHT_MM:g}">',
        f"<title>Where the folds were measured</title><desc>{escape(said)}</desc>",
        _figure(_FRONT_X, "front"),
        _figure(_BACK_X, "back"),
    ]
    for view in ("front", "back"):
        sites = [site for site in placed if _PLACES[site][0] == view]
        sites.sort(key=lambda site: _PLACES[site][2])
        folds = [_Fold(site, names[site], placed[site], site in left) for site in sites]
        parts.extend(_bars(view, folds, scale))
    parts.append(_ruler(scale))
    parts.append("</svg>")
    return "\n".join(parts)


def _figure(middle_x: float, view: str) -> str:
    moved = [(middle_x + x * _FIGURE, y * _FIGURE) for x, y in whole()]
    head = (
        f'<ellipse cx="{middle_x:g}" cy="{10 * _FIGURE:g}" rx="{7.2 * _FIGURE:g}" '
        f'ry="{9.5 * _FIGURE:g}" fill="#f1f1ee" stroke="#777" stroke-width="0.35"/>'
    )
    return (
        f'<path d="{smooth(moved)}" fill="#f1f1ee" stroke="#777" stroke-width="0.35"/>{head}'
        f'<text x="{middle_x:g}" y="{HEIGHT_MM - 2:g}" font-size="3.2" text-anchor="middle" '
        f'fill="#555">{view}</text>'
    )


class _Fold(NamedTuple):
    """One fold in the picture; on the right side of the body unless it is `left`."""

    site: str
    name: str
    value_mm: float
    left: bool


def _bars(view: str, folds: list[_Fold], scale: float) -> list[str]:
    """Labels and bars beside a figure, none over another."""
    parts, free_y = [], 8.0
    for site, name, value, left in folds:
        _, out, down = _PLACES[site]
        out = -out if left else out
        y = max(free_y, down * _FIGURE - 2)
        free_y = y + 11.5
        long = value * scale
        if view == "front":
            x, edge = _FRONT_X - out * _FIGURE, ROOM_MM - 1
            bar_x, anchor, text_x = edge - long, "end", edge
        else:
            x, edge = _BACK_X + out * _FIGURE, WIDTH_MM - ROOM_MM + 1
            bar_x, anchor, text_x = edge, "start", edge
        parts.append(
            f'<line x1="{x:.1f}" y1="{down * _FIGURE:.1f}" x2="{edge:.1f}" y2="{y:.1f}" '
            'stroke="#999" stroke-width="0.25"/>'
            f'<circle cx="{x:.1f}" cy="{down * _FIGURE:.1f}" r="1.1" fill="#8a3b12"/>'
            f'<rect x="{bar_x:.2f}" y="{y - 1.5:.1f}" width="{long:.2f}" height="3" '
            'fill="#c8743a"/>'
            f'<text x="{text_x:.1f}" y="{y + 5.2:.1f}" font-size="3.4" text-anchor="{anchor}">'
            f"{escape(name)} {one_decimal(value)} mm</text>"
        )
    return parts


def _ruler(scale: float) -> str:
    told = "as long as the fold is thick" if scale == 1 else f"{scale:g} of the fold's thickness"
    y = HEIGHT_MM - 7
    return (
        f'<line x1="1" y1="{y:g}" x2="{1 + 10 * scale:g}" y2="{y:g}" stroke="#333" '
        'stroke-width="0.5"/>'
        f'<text x="1" y="{y + 4:g}" font-size="3" fill="#333">10 mm</text>'
        f'<text x="{WIDTH_MM - 1:g}" y="{y + 4:g}" font-size="3" text-anchor="end" fill="#333">'
        f"Bars are {told}.</text>"
    )
