"""Parts of a page: text from outside on its way in, sections, tables."""

import html
from collections.abc import Iterator, Sequence

from capture.showable import one_line


def escape(text: str) -> str:
    r"""The text as HTML shows it: no markup, no control character, no turned direction.

    >>> escape("<b>Ada\u202e & co</b>")
    '&lt;b&gt;Ada? &amp; co&lt;/b&gt;'
    """
    return html.escape(one_line(text, joiners=True))


def named(name: str) -> str:
    """A name as HTML; one that is written from right to left moves nothing beside it."""
    return f"<bdi>{escape(name)}</bdi>"


def section(title: str, inside: str, css: str = "") -> Iterator[str]:
    """A part of the page with its heading; `inside` is markup already."""
    yield f'<section><h2>{escape(title)}</h2><div class="{css}">{inside}</div></section>'


def paragraphs(lines: Sequence[str]) -> str:
    """A paragraph a line; every line is escaped."""
    return "".join(f"<p>{escape(line)}</p>" for line in lines)


def table_html(heads: Sequence[str], rows: Sequence[Sequence[str]], css: str = "") -> str:
    """A table; every cell is escaped. Columns of numbers stand to the right, with their head."""
    sides = [_side([row[place] for row in rows]) for place in range(len(heads))]
    top = "".join(
        f'<th scope="col"{side}>{escape(head)}</th>'
        for head, side in zip(heads, sides, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(f"<td{side}>{escape(cell)}</td>" for cell, side in zip(row, sides, strict=True))
        + "</tr>"
        for row in rows
    )
    return f'<table class="{css}"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>'


def _side(cells: Sequence[str]) -> str:
    told = [cell for cell in cells if cell]
    numbers = [cell for cell in told if cell.lstrip("+−").replace(".", "", 1).isdigit()]
    return ' class="n"' if told and len(numbers) == len(told) else ""
