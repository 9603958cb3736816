"""Writes the README's screenshots from the real program: `python tests/screenshots.py`.

A demo visit is keyed in, then the screen is drawn at both sizes, as text and as SVG; so is the
voice check after four prompts, the last of them doubtful.
"""

import re
import tempfile
import time
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from html import escape
from pathlib import Path

from capture.begin import Wish, open_visit
from capture.company import Company, Sound, assemble
from capture.hearing import Spoken
from capture.pack import open_pack
from capture.protocol.protocol import SEVEN_SITES
from capture.recognise.port import Recogniser
from capture.recognise.scripted import spoken
from capture.resources import data_folder
from capture.screen.keymap import USUAL
from capture.screen.prompt_view import PromptView, render_prompt
from capture.screen.render import STYLES, Line, Size, plain, render
from capture.screen.view import SoundView
from capture.sound.settings import SoundSettings
from capture.sound.source import MicState
from capture.sound.voice import VoiceKind
from capture.store import open_store
from capture.voice_prompts import prompts
from capture.voice_trial import VoiceTrial, parsers_of

SIZES = (Size(80, 24), Size(120, 40))
FOLDER = Path(__file__).parent / "screens"
ROWAN = Wish("Rowan Alderby", "Tobias Quill", sex="male", age_years=34)
LINES = [
    *("", "", "", "", "6 3/4", "", "14 1/2", "", "19 5/8", ""),
    *("8.4", "", "11.2", "", "10.6", "", "15", "", "22.4", "", "16", "", "17.6", ""),
    *("8.8", "", "11", "", "13.8", "", "15.6", "", "32.4"),
]
"""What is keyed: up to a reading that differs from the other circuit, so that it is doubtful."""

_COLUMN, _ROW = 9, 19
_COLOURS = {"ansired": "#ff6b6b", "ansigreen": "#5fd75f", "ansiyellow": "#ffd75f"}


def visit() -> Company:
    """The session after the lines have been typed. Nothing of it is kept."""
    folder = tempfile.TemporaryDirectory()
    with folder, open_store(Path(folder.name) / "visits.db") as store:
        pack = open_pack(data_folder("grammars") / "en")
        opened = open_visit(store, ROWAN, date(2026, 3, 2), "2026-03-02T12:00:00+01:00")
        quiet = Sound(None, SoundSettings(voice=VoiceKind.SILENT))
        company = assemble(store, opened, pack, quiet, USUAL)
        company.phrases.join()
        company.session.turns.bounce_s = 0.0
        company.begin()
        for line in LINES:
            company.session.type(line)
        company.drain()
        company.close()
        return company


def as_svg(lines: Iterable[Line], size: Size) -> str:
    """The lines as a picture, in their styles."""
    width, height = size.columns * _COLUMN, size.rows * _ROW + 8
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">',
        f'<rect width="{width}" height="{height}" fill="#101418"/>',
        '<g font-family="monospace" font-size="15" xml:space="preserve">',
    ]
    for row, line in enumerate(lines):
        column = 0
        for style, text in line:
            if text.strip() or "reverse" in _looks(style):
                parts += _piece(text, column, row, _looks(style))
            column += len(text)
    return "\n".join((*parts, "</g>", "</svg>", ""))


def _looks(style: str) -> list[str]:
    return STYLES.get(style.removeprefix("class:"), "").split()


def _piece(text: str, column: int, row: int, looks: list[str]) -> Iterable[str]:
    x, y, width = column * _COLUMN, row * _ROW, len(text) * _COLUMN
    colour = next((_COLOURS[look] for look in looks if look in _COLOURS), "#e8e8e8")
    if "reverse" in looks:
        yield f'<rect x="{x}" y="{y + 4}" width="{width}" height="{_ROW}" fill="{colour}"/>'
        colour = "#101418"
    for found in re.finditer("█+|▀+|▄+", text):
        # Fonts leave gaps between block characters.
        down = _ROW / 2 if found[0][0] == "▄" else 0
        height = _ROW if found[0][0] == "█" else _ROW / 2
        yield (
            f'<rect x="{x + found.start() * _COLUMN}" y="{y + 4 + down:g}" '
            f'width="{len(found[0]) * _COLUMN}" height="{height:g}" fill="{colour}"/>'
        )
    bold = ' font-weight="bold"' if "bold" in looks else ""
    for found in re.finditer("[^█▀▄ ]+(?: [^█▀▄ ]+)*", text):
        yield (
            f'<text x="{x + found.start() * _COLUMN}" y="{y + _ROW - 1}" fill="{colour}"{bold} '
            f'textLength="{len(found[0]) * _COLUMN}">{escape(found[0])}</text>'
        )


def voice_check() -> PromptView:
    """The voice check after a few prompts were spoken."""
    pack = open_pack(data_folder("grammars") / "en")
    sites = {site.id for site in SEVEN_SITES.sites}
    asked = prompts(pack.grammar, sites)
    trial = VoiceTrial(Still(), Nobody(), asked, parsers_of(asked, pack.grammar, sites), None)
    trial.begin()
    for epoch, prompt in enumerate(asked[:3], 1):
        trial.post(Spoken(spoken(prompt.words), epoch, 0.0))
    unclear = spoken(asked[3].words, confidence=0.9, rivals=["thirteen"])
    trial.post(Spoken(unclear, 4, 0.0))
    trial.drain()
    trial.close()
    sound = SoundView("LISTENING", -33.0, "Lapel", "")
    return replace(trial.view(), sound=sound)


class Still:
    """A microphone in a room where nobody speaks."""

    name, rate_hz, overruns, trouble = "Lapel", 16_000, 0, None
    state = MicState.LISTENING

    def get(self, timeout_s: float) -> None:
        """Nothing, after a while."""
        time.sleep(timeout_s)

    def now_s(self) -> float:
        """Time stands still."""
        return 0.0

    def close(self) -> None:
        """Nothing to let go of."""


class Nobody:
    """No recogniser: nothing comes that could be heard."""

    def listener(self, rate_hz: int, rule: str) -> Recogniser:
        """It is never asked for."""
        raise AssertionError(rate_hz, rule)


def screens() -> dict[str, str]:
    """Each file's name with its content."""
    view, prompt = visit().view(), voice_check()
    files = {}
    for size in SIZES:
        drawn = {"measure": render(view, size), "check": render_prompt(prompt, size, False)}
        for what, lines in drawn.items():
            name = f"{what}_{size.columns}x{size.rows}"
            files[f"{name}.txt"] = plain(lines) + "\n"
            files[f"{name}.svg"] = as_svg(lines, size)
    return files


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, content in screens().items():
        (FOLDER / name).write_text(content, encoding="utf-8")
