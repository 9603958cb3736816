"""Charts as inline SVG by pygal, without its scripts and its comments."""

import sys
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from html import escape
from typing import Any

import pygal
from pygal.style import Style

from capture.report.trend import Point

# pygal leaves a hook of an old kind in the import system, for plugins that we do not use; every
# later import of a missing module would warn of it.
sys.meta_path[:] = [each for each in sys.meta_path if type(each).__module__ != "pygal"]

SVG = "http://www.w3.org/2000/svg"
_STYLE = Style(
    background="white",
    plot_background="white",
    foreground="#333",
    foreground_strong="#111",
    foreground_subtle="#777",
    colors=("#8a3b12", "#c8a48a", "#9aa7a0", "#4a6a8a"),
    font_family="sans-serif",
    label_font_size=15,
    major_label_font_size=15,
    value_font_size=14,
    legend_font_size=15,
    title_font_size=17,
    opacity=".85",
    stroke_width=2.5,
)


def trend_svg(title: str, unit: str, points: Sequence[Point]) -> str:
    """A line over the visits with error bars."""
    chart: Any = pygal.Line(
        **_options(title, 260), x_label_rotation=0, dots_size=5, show_legend=False
    )
    chart.x_labels = [point.date for point in points]
    ends = [end for p in points for end in (p.low, p.high, p.value) if end is not None]
    span = max(ends) - min(ends) or max(ends) * 0.1
    chart.range = (max(0.0, min(ends) - 0.15 * span), max(ends) + 0.15 * span)
    values: list[dict[str, Any]] = []
    for point in points:
        value: dict[str, Any] = {"value": point.value, "label": f"{point.value:.1f} {unit}"}
        if point.low is not None and point.high is not None:
            value["ci"] = {"low": point.low, "high": point.high}
        values.append(value)
    chart.add(unit, values)
    said = "; ".join(_in_words(point, unit) for point in points)
    return _inline(chart, title, said)


def profile_svg(
    title: str, sites: Sequence[str], visits: Sequence[tuple[str, Sequence[Any]]]
) -> str:
    """Bars by site for the last visits, the present one first; None leaves a gap."""
    chart: Any = pygal.Bar(**_options(title, 300), legend_at_bottom=True, margin_top=4)
    chart.x_labels = [site.replace("_", " ") for site in sites]
    said = []
    for date, values in visits:
        chart.add(date, list(values))
        told = ", ".join(
            f"{site.replace('_', ' ')} {value:.1f} mm"
            for site, value in zip(sites, values, strict=True)
            if value is not None
        )
        said.append(f"{date}: {told}")
    return _inline(chart, title, ". ".join(said))


def _options(title: str, height: int) -> dict[str, Any]:
    return {
        "title": title,
        "width": 800,
        "height": height,
        "js": [],
        "style": _STYLE,
        "no_prefix": False,
        "print_values": False,
        "explicit_size": False,
        "disable_xml_declaration": True,
        "show_minor_x_labels": True,
        "tooltip_border_radius": 0,
        "spacing": 8,
        "margin": 8,
        "margin_right": 55,
        "truncate_label": -1,
        "include_x_axis": False,
    }


def _inline(chart: Any, title: str, said: str) -> str:
    """The chart as SVG for a page: no script, no link, and with its text alternative."""
    root = ET.fromstring(chart.render(is_unicode=True))
    for parent in list(root.iter()):
        for child in list(parent):
            name = child.tag.rpartition("}")[2]
            unseen = name in {"desc", "title"} or "tooltip" in child.get("class", "").split()
            if name == "script" or unseen:
                parent.remove(child)
    root.set("role", "img")
    root.set("aria-label", title)
    described = ET.Element(f"{{{SVG}}}desc")
    described.text = said
    root.insert(0, described)
    ET.register_namespace("", SVG)
    return ET.tostring(root, encoding="unicode")


def _in_words(point: Point, unit: str) -> str:
    if point.low is None or point.high is None:
        return f"{point.date}: {point.value:.1f} {unit}"
    return f"{point.date}: {point.value:.1f} {unit} ({point.low:.1f} to {point.high:.1f})"


def table_html(heads: Sequence[str], rows: Sequence[Sequence[str]], css: str = "") -> str:
    """A table; every cell is escaped. Cells that are numbers stand to the right."""
    top = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    body = "".join(
        "<tr>" + "".join(f"<td{_side(cell)}>{escape(cell)}</td>" for cell in row) + "</tr>"
        for row in rows
    )
    return f'<table class="{css}"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>'


def _side(cell: str) -> str:
    return ' class="n"' if cell.lstrip("+−").replace(".", "", 1).isdigit() else ""
