"""The screen as lines of styled text, for any size. Pure: a view in, lines out.

Styles only underline what the words say already: without any colour nothing is lost.
"""

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from capture.screen import blocks
from capture.screen.view import Picture, SoundView, Standing, View
from capture.showable import begin, cells, one_line, padded

Line = tuple[tuple[str, str], ...]
"""Pieces of one line, each a style and a text."""

BAR, TITLE, BIG, DIM, STRONG, WARN = (
    "class:bar",
    "class:title",
    "class:big",
    "class:dim",
    "class:strong",
    "class:warn",
)
STYLES = {
    "bar": "reverse",
    "title": "bold",
    "big": "bold",
    "dim": "",
    "strong": "bold",
    "warn": "bold reverse",
    "asked": "",
    "confirm": "bold ansiyellow",
    "doubtful": "bold ansired",
    "saved": "bold ansigreen",
    "wrong": "bold ansired",
}
"""The look of each style: the sixteen colours of any terminal."""

_STANDING_STYLES = {
    Standing.ASKED: "class:asked",
    Standing.TYPED: "class:asked",
    Standing.CONFIRM: "class:confirm",
    Standing.DOUBTFUL: "class:doubtful",
    Standing.SAVED: "class:saved",
    Standing.NOT_SAVED: "class:wrong",
    Standing.NOT_TAKEN: "class:wrong",
    Standing.FAILED: "class:wrong",
    Standing.GOES_THROUGH: "class:confirm",
    Standing.NOTING: "class:asked",
    Standing.HOLD: "class:asked",
    Standing.READ: "class:saved",
    Standing.LATE: "class:wrong",
}

SMALL_COLUMNS, SMALL_ROWS = 72, 22
"""Below this only site, value, state and one line of each kind are shown."""

_WORDS_COLUMNS = 24
"""The least width of a text beside a drawing."""

ROOMY_COLUMNS, ROOMY_ROWS = 112, 36
_LEGEND = "value: mean of two, median of three; +- spread"
_ESTIMATE = "~ estimate, through cloth; +- spread"
_QUIETEST_DBFS, _METER_COLUMNS = -60.0, 12


@dataclass(frozen=True, slots=True)
class Size:
    """The terminal, in columns and rows."""

    columns: int
    rows: int


def render(view: View, size: Size) -> tuple[Line, ...]:
    """The whole screen: at most `size.rows` lines, none wider than `size.columns`."""
    if view.warning:
        return _under_a_warning(view, size)
    if view.help:
        lines = _help(view, size)
    elif view.picture is not None:
        lines = _picture(view.picture, size)
    elif size.columns < SMALL_COLUMNS or size.rows < SMALL_ROWS:
        lines = _small(view, size)
    elif size.columns >= ROOMY_COLUMNS and size.rows >= ROOMY_ROWS:
        lines = _roomy(view, size)
    else:
        lines = _usual(view, size)
    return tuple(cut(safe(line), size.columns) for line in lines[: size.rows])


def _under_a_warning(view: View, size: Size) -> tuple[Line, ...]:
    """The warning across the top, the screen below it in the rows that are left."""
    rows = max(1, min(3, size.rows // 8))
    warning = [
        cut(_text(f" ! {line}".ljust(size.columns), WARN), size.columns)
        for line in _wrapped([view.warning], size.columns - 4, rows)
    ]
    rest = render(replace(view, warning=""), Size(size.columns, size.rows - len(warning)))
    return (*warning, *rest)


def plain(lines: Iterable[Line]) -> str:
    """The lines without their styles."""
    return "\n".join("".join(text for _, text in line).rstrip() for line in lines)


def safe(line: Line) -> Line:
    """A line without what a terminal acts upon, whatever name or message got into it."""
    return tuple((style, one_line(text)) for style, text in line)


def cut(line: Line, columns: int) -> Line:
    """A line without what does not fit."""
    kept, left = [], columns
    for style, text in line:
        if left > 0:
            kept.append((style, begin(text, left)))
        left -= cells(text)
    return tuple(kept)


def _usual(view: View, size: Size) -> list[Line]:
    width = size.columns
    lines = [_bar(view, width)]
    lines += _drawn(view, view.headline, width - 2, blocks.ROWS, TITLE)
    about = f" {view.about}"
    space = width - len(about) - 1
    told = _ESTIMATE if any("~" in row.value for row in view.table) else _LEGEND
    legend = told.rjust(space) if space > len(told) else ""
    lines.append(((STRONG, about), (DIM, legend)))
    table = _table(view, wide=False)
    left_width = width - max(len(row) for row, _ in table)
    left = [*_drawn(view, view.value, left_width - 1, blocks.ROWS, BIG), ()]
    left += _state(view, left_width, 3)
    lines += _beside(left, table, left_width)
    foot = _foot(view, width, 2)
    room = size.rows - len(lines) - len(foot)
    return [*lines, *_middle(view, width, room), *foot]


def _roomy(view: View, size: Size) -> list[Line]:
    width = size.columns
    lines = [_bar(view, width), ()]
    lines += _drawn(view, view.headline, width - 2, 2 * blocks.ROWS, TITLE)
    lines += [(), _text(f" {view.about}", STRONG), ()]
    table = _table(view, wide=True)
    left_width = width - max(len(row) for row, _ in table) - 2
    left = _drawn(view, view.value, left_width - 1, 2 * blocks.ROWS, BIG)
    lines += _beside(left, table, left_width)
    lines += [(), *_state(view, width, blocks.ROWS)]
    foot = _foot(view, width, 3)
    room = size.rows - len(lines) - len(foot)
    middle = _middle(view, width, room)
    words = sum(1 for line in middle if line)
    spare = room - words - 1
    if spare > 0:
        middle = [*middle[:words], (), *_events(view, width, spare)]
    middle += [()] * (room - len(middle))
    return [*lines, *middle, *foot]


def _small(view: View, size: Size) -> list[Line]:
    width, value_rows = size.columns, blocks.ROWS
    lines = [
        cut(((TITLE, f" {view.headline.upper()}"), (STRONG, f"  {view.about}")), width),
        *_drawn(view, view.value, width - 2, value_rows, BIG)[: max(0, size.rows - 4)],
    ]
    state = f" {view.standing} {view.standing_about}".rstrip()
    lines.append(_text(state, _STANDING_STYLES[view.standing]))
    room = max(0, size.rows - len(lines) - 1)
    if view.menu:
        told = [_text(f" {line}") for line in _listed(view.menu, width - 1)[:room]]
    else:
        words = (view.notice,) if view.notice else view.said
        told = [_text(f" {line}") for line in _wrapped(words, width - 1, room)]
    if len(told) < room and not view.menu:
        said = ", ".join(view.may_say)
        told += [
            _text(f" {line}", DIM)
            for line in _wrapped([f"Say: {said}"], width - 1, room - len(told))
        ]
    told += [()] * (room - len(told))
    return [*lines, *told, meter(view.sound, width)]


def _help(view: View, size: Size) -> list[Line]:
    keys = max(len(row[0]) for row in view.help) + 2
    title = " Keys (F1 or ?: next page, then the site's drawing; Escape: back)"
    lines = [_pad(_text(title, BAR), size.columns, BAR)]
    wide = size.columns >= SMALL_COLUMNS
    for key, does, spoken in view.help:
        said = f'  "{spoken}"' if spoken and wide else ""
        row = ((STRONG, f" {key:<{keys}}"), ("", does))
        if not said or 1 + keys + cells(does) + cells(said) <= size.columns:
            lines.append((*row, (DIM, said)))
        else:
            lines += [row, ((DIM, f" {'':<{keys}}{said}"),)]
    return lines


def _picture(picture: Picture, size: Size) -> list[Line]:
    """The drawing at the left, its words at the right or below."""
    title = " The site at hand (F1, ? or Escape: back)"
    lines = [_pad(_text(title, BAR), size.columns, BAR)]
    left = max((len(line) for line in picture.figure), default=0) + 3
    beside = size.columns - left >= _WORDS_COLUMNS
    words: list[str] = []
    for text in picture.words:
        words += [*textwrap.wrap(text, size.columns - 2 - (left if beside else 0)), ""]
    if not beside:
        return [*lines, *(_text(f" {text}") for text in words), *map(_text, picture.figure)]
    for at in range(max(len(picture.figure), len(words))):
        drawn = picture.figure[at] if at < len(picture.figure) else ""
        told = words[at] if at < len(words) else ""
        lines.append(((BIG, f" {drawn}".ljust(left)), ("", told)))
    return lines


def _bar(view: View, width: int) -> Line:
    left = one_line(f" Client {view.client}   Assessor {view.assessor}")
    for parts in ((view.protocol, view.mode, view.progress), (view.mode, view.progress)):
        right = one_line("  ".join(part for part in parts if part))
        if cells(left) + 1 + cells(right) <= width:
            break
    else:
        right = view.progress
    end = " " if cells(left) + cells(right) + 2 <= width else ""
    # A long name gives way to the progress, never the other way round.
    room = max(0, width - cells(right + end) - 1)
    return ((BAR, f"{padded(left, room)} {right}{end}"),)


def _drawn(view: View, text: str, columns: int, rows: int, style: str) -> list[Line]:
    """A text as large as fits into columns and rows; always so many rows."""
    text = text.upper()
    drawn: tuple[str, ...] = ()
    if text and blocks.can_draw(text):
        for times, down in ((6, 2), (4, 2), (3, 2), (2, 2), (2, 1), (1, 1)):
            if down * blocks.ROWS <= rows and blocks.width(text, times) <= columns:
                drawn = blocks.large(text, times, down, view.ink)
                break
        else:
            if blocks.width(text) <= columns and rows >= 3 and view.ink == blocks.INK:
                drawn = blocks.small(text)
    if text and not drawn:
        drawn = (text,)
    lines: list[Line] = [((style, f" {row}"),) for row in drawn]
    return [*lines, *[()] * (rows - len(lines))]


def _state(view: View, columns: int, rows: int) -> list[Line]:
    """The standing in large words; the value it is about beside it where there is room."""
    style = _STANDING_STYLES[view.standing]
    word = str(view.standing)
    full = f"{word} {view.standing_about}".strip()
    for text in (full, word):
        if not blocks.can_draw(text):
            continue
        if rows >= blocks.ROWS and blocks.width(text, 2) < columns:
            return [((style, f" {row}"),) for row in blocks.large(text, 2, ink=view.ink)]
        if blocks.width(text) < columns and (rows >= blocks.ROWS or view.ink == blocks.INK):
            high = rows >= blocks.ROWS
            drawn = blocks.large(text, ink=view.ink) if high else blocks.small(text)
            lines: list[Line] = [((style, f" {row}"),) for row in drawn]
            if text != full:
                lines[-1] = (*lines[-1], (style, f"  {view.standing_about}"))
            return lines
    rule = "=" * min(columns - 2, cells(full) + 8)
    if rows >= 3 and cells(full) + 8 < columns:
        # Between two rules the word stands out where it cannot be drawn large.
        middle = f" {full.center(len(rule))}".rstrip()
        return [_text(f" {rule}", style), _text(middle, style), _text(f" {rule}", style)]
    return [_text(f" {full}", style), *[()] * (rows - 1)]


def _table(view: View, *, wide: bool) -> list[tuple[str, str]]:
    """The circuit table: each row as text and style, all of one width."""
    circuits = max((len(row.readings) for row in view.table), default=2)
    heads = [("1st", "2nd", "3rd", "4th", "5th")[n] for n in range(min(circuits, 5))]
    how = f"  {'':<16}" if wide else ""
    title = "".join(f"{head:>6}" for head in (*heads, "value", "+-"))
    lines = [(f"  {'site':<11}{title}{how}", STRONG)]
    for row in view.table:
        mark = ">" if row.present else " "
        readings = row.readings[: len(heads)]
        cells = "".join(f"{cell:>6}" for cell in (*readings, row.value, row.spread))
        told = f"  {row.open or row.how:<16}" if wide else ""
        lines.append((f"{mark} {row.site[:11]:<11}{cells}{told}", TITLE if row.present else ""))
    return lines


def _beside(left: Sequence[Line], table: Sequence[tuple[str, str]], columns: int) -> list[Line]:
    lines = []
    for at in range(max(len(left), len(table))):
        line = _pad(left[at] if at < len(left) else (), columns)
        if at < len(table):
            text, style = table[at]
            line = (*line, (style, text))
        lines.append(line)
    return lines


def _middle(view: View, width: int, room: int) -> list[Line]:
    """What was said, heard and noticed, or the list that waits for a number."""
    if room <= 0:
        return []
    lines: list[Line] = []
    if view.menu:
        lines += [_text(f" {line}", STRONG) for line in _listed(view.menu, width - 2)]
    if view.notice:
        lines += [_text(f" ! {line}", WARN) for line in _wrapped([view.notice], width - 4, 2)]
    lines += [
        _text(f" {line}", STRONG)
        for line in _wrapped([" ".join(view.said)], width - 2, max(1, room - len(lines)))
    ]
    if view.heard and len(lines) < room:
        lines.append(_text(f" {view.heard}"))
    lines = lines[:room]
    return [*lines, *[()] * (room - len(lines))]


def _listed(menu: Sequence[str], width: int) -> list[str]:
    """The items of a list in as few lines as they need, none broken."""
    lines = [""]
    for item in menu:
        joined = f"{lines[-1]}   {item}" if lines[-1] else item
        if len(joined) <= width:
            lines[-1] = joined
        else:
            lines.append(item)
    return lines


def _foot(view: View, width: int, say_rows: int) -> list[Line]:
    say = _wrapped([f"Say: {'; '.join(view.may_say)}"], width - 6, 4) if view.may_say else []
    if len(say) > say_rows:
        say = [*say[: say_rows - 1], f"{say[say_rows - 1]} ..."]
    lines = [_text(f" {line}", DIM) for line in say]
    lines.append(_text(f" {view.keys}", DIM))
    lines.append(meter(view.sound, width))
    return lines


def meter(sound: SoundView, width: int) -> Line:
    """Ear and voice in one line: state in words, level as a bar and in figures."""
    level = ""
    if sound.level_dbfs is not None:
        share = 1 - max(_QUIETEST_DBFS, min(0.0, sound.level_dbfs)) / _QUIETEST_DBFS
        filled = round(_METER_COLUMNS * share)
        level = f" [{'#' * filled}{'.' * (_METER_COLUMNS - filled)}] {sound.level_dbfs:3.0f} dB"
    lost = f"  LOST {sound.overruns}" if sound.overruns else ""
    text = f" {sound.state}{level}{lost}"
    names = "  ".join(each for each in (sound.microphone, sound.recogniser) if each)
    if names and len(text) + len(names) + 3 <= width:
        text += " " * (width - len(text) - len(names) - 1) + names
    return _pad(_text(text, BAR), width, BAR)


def _events(view: View, width: int, room: int) -> list[Line]:
    lines = [_text(" Before this:", DIM)] if view.events and room > 1 else []
    kept = view.events[-(room - 1) :] if room > 1 else ()
    return [*lines, *(_text(f"   {event[: width - 4]}", DIM) for event in kept)]


def _text(text: str, style: str = "") -> Line:
    return ((style, text),)


def _pad(line: Line, columns: int, style: str = "") -> Line:
    line = cut(line, columns)
    length = sum(len(text) for _, text in line)
    return (*line, (style, " " * (columns - length))) if length < columns else line


def _wrapped(texts: Iterable[str], width: int, most: int) -> list[str]:
    lines = [line for text in texts for line in textwrap.wrap(text, max(10, width))]
    return lines[: max(0, most)]
