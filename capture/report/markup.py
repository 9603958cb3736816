"""Text from outside, on its way into a page."""

import html

from capture.showable import one_line


def escape(text: str) -> str:
    r"""The text as HTML shows it: no markup, no control character, no turned direction.

    >>> escape("<b>Ada\u202e & co</b>")
    '&lt;b&gt;Ada? &amp; co&lt;/b&gt;'
    """
    return html.escape(one_line(text, joiners=True))
