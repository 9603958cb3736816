"""Charts as inline SVG by pygal, without its scripts and its comments."""

import math
import sys
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from typing import Any

import pygal
from pygal.style import Style

from capture.composition.uncertainty import one_decimal
from capture.report.names import spaced
from capture.report.trend import Point, Trend

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
    guide_stroke_color="#ccc",
    guide_stroke_dasharray="1,0",
    major_guide_stroke_color="#ccc",
    major_guide_stroke_dasharray="1,0",
    value_colors=("#333",),
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


def trend_svg(title: str, unit: str, found: Trend) -> str:
    """A line over the visits with error bars and the value at each point."""
    points, digits = found.points, found.digits
    # Dates with times would run into each other.
    crowded = len(points) > 4 and any(len(point.date) > len("2026-05-04") for point in points)
    chart: Any = pygal.Line(
        **_options(title, 220 if crowded else 180),
        x_label_rotation=20 if crowded else 0,
        dots_size=5,
        show_legend=False,
    )
    chart.print_values, chart.print_values_position = True, "top"
    chart.value_formatter = lambda value: f"{value:.{digits}f}"
    chart.x_labels = [point.date for point in points]
    ends = [end for p in points for end in (p.low, p.high, p.value) if end is not None]
    span = max(ends) - min(ends) or max(ends) * 0.1
    low, high = max(0.0, min(ends) - 0.15 * span), max(ends) + 0.25 * span
    chart.range, chart.y_labels = (low, high), _ticks(low, high)
    values: list[dict[str, Any]] = []
    for point in points:
        value: dict[str, Any] = {"value": point.value}
        if point.low is not None and point.high is not None:
            value["ci"] = {"low": point.low, "high": point.high}
        values.append(value)
    chart.add(unit, values)
    said = "; ".join(_in_words(point, unit, found) for point in points)
    return _inline(chart, title, said)


def _ticks(low: float, high: float) -> list[dict[str, Any]]:
    """Round numbers within a range, six or fewer, for an axis."""
    rough = (high - low) / 6
    tenth = 10.0 ** math.floor(math.log10(rough))
    step = next(tenth * each for each in (1, 2, 5, 10) if tenth * each >= rough)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    values = [round(step * each, 6) for each in range(first, last + 1)]
    return [{"value": value, "label": f"{value:g}"} for value in values]


def profile_svg(
    title: str, sites: Sequence[str], visits: Sequence[tuple[str, Sequence[Any]]]
) -> str:
    """Bars by site for the last visits, the present one first; None leaves a gap."""
    chart: Any = pygal.Bar(
        **_options(title, 225),
        legend_at_bottom=True,
        legend_at_bottom_columns=max(1, len(visits)),
    )
    chart.x_labels = [spaced(site) for site in sites]
    largest = max((value or 0.0 for _, values in visits for value in values), default=0.0) or 1.0
    chart.range, chart.y_labels = (0.0, largest * 1.05), _ticks(0.0, largest * 1.05)
    said = []
    for date, values in visits:
        chart.add(date, list(values))
        told = ", ".join(
            f"{spaced(site)} {one_decimal(value)} mm"
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


def _in_words(point: Point, unit: str, found: Trend) -> str:
    told = f"{point.date}: {point.value:.{found.digits}f} {unit}"
    if point.low is None or point.high is None:
        return told
    return f"{told} ({point.low:.{found.range_digits}f} to {point.high:.{found.range_digits}f})"
