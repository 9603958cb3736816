"""Speak the read-back prompts of the English pack: ``python -m capture.training.prompts``.

What must be spoken is not listed here: it is taken from the wording itself, by letting it say every
kind of announcement with the numbers and sites left open. So a new sentence in the wording needs no
more than a new run.

Needed: the package ``hibari-tts`` (Apache-2.0), whose own voice "heart" speaks. The same seed gives
the same sound.
"""

import argparse
import importlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from capture.language.grammar import Grammar
from capture.language.intents import Caution, NotUnderstood, Option, SkipReason, WhyNot
from capture.pack import open_pack
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.protocol.protocol import PROTOCOLS, Protocol
from capture.protocol.setup import SetupField, SiteSetup
from capture.protocol.sites import Fold, Side
from capture.protocol.tape import TapeDoubt, TapeDoubtKind
from capture.resources import data_folder
from capture.sound.bank import words_of
from capture.units import Inches
from capture.visit import announcement as told
from capture.visit.state import Preparation
from capture.wording.english import English
from capture.wording.numbers import NumberWords

RATE_HZ = 24_000
VOICE = "hibari-tts, voice heart, Apache-2.0"
SOUND_FILE = "prompts.ogg"
INDEX_FILE = "prompts.toml"
QUALITY = 0.84
"""libsndfile's compression level for Vorbis: about 40 kbit/s of speech."""

SPEECH_DBFS = -20.0
"""Level of the loud parts of every clip; all alike, so that no number sinks."""

PEAK = 0.7
EDGE_S = 0.025
FADE_S = 0.008
GAP_S = 0.05
"""Silence between clips in the file, so that the coder smears none into the next."""

READINGS = {
    "suprailiac": "sˌupɹəˈɪliˌæk",
    "midaxillary": "mˌɪdˈæksəlˌɛɹi",
    "supraspinale": "sˌupɹəspɪnˈɑli",
}
"""Phonemes (misaki's alphabet) of words that the voice's dictionary lacks."""

ONES = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
    *("ten", "eleven", "twelve", "thirteen", "fourteen"),
    *("fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
)
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
FRACTIONS = (
    ("a half", "1/2"),
    ("a quarter", "1/4"),
    ("three quarters", "3/4"),
    ("one eighth", "1/8"),
    ("three eighths", "3/8"),
    ("five eighths", "5/8"),
    ("seven eighths", "7/8"),
    ("one sixteenth", "1/16"),
    ("three sixteenths", "3/16"),
    ("five sixteenths", "5/16"),
    ("seven sixteenths", "7/16"),
    ("nine sixteenths", "9/16"),
    ("eleven sixteenths", "11/16"),
    ("thirteen sixteenths", "13/16"),
    ("fifteen sixteenths", "15/16"),
)
UNITS = (
    ("inch",),
    ("inches",),
    ("centimetre",),
    ("centimetres", "cm"),
    ("millimetre",),
    ("millimetres", "mm"),
)

OPEN = "|"
"""Stands in the wording where a number or a site will be."""

_VALUE = re.compile(r"\d+\.\d")
_STOP = re.compile(r"(?<=[.?!:])(?:\s|$)")

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Fragment:
    """One clip to be spoken: its spellings, and how the voice is asked to say it."""

    says: tuple[str, ...]
    text: str
    apart: bool = False
    pace: float = 1.0


class _OpenNumbers(NumberWords):
    """Says the open mark for every number."""

    def plain(self, value_tenths_mm: int) -> str:  # noqa: ARG002
        return OPEN

    def read_back(self, value_tenths_mm: int) -> str:  # noqa: ARG002
        return OPEN

    def length(self, length: object) -> str:  # noqa: ARG002
        return OPEN

    def length_read_back(self, length: object) -> str:  # noqa: ARG002
        return OPEN


def number_fragments() -> Iterator[Fragment]:
    """Whole numbers to a hundred, tenths, fractions, units."""
    for whole in range(100):
        tens, one = divmod(whole, 10)
        spoken = ONES[whole] if whole < 20 else TENS[tens - 2] + (f" {ONES[one]}" if one else "")
        # A single digit also tells a number digit by digit: a little slower, and apart.
        yield Fragment((spoken, str(whole)), f"{spoken},", whole < 10, 0.92 if whole < 20 else 0.96)
    yield Fragment(("one hundred", "100"), "one hundred,")
    for tenth in range(10):
        yield Fragment((f"point {ONES[tenth]}", f".{tenth}"), f"point {ONES[tenth]}.", pace=0.95)
    for spoken, figures in FRACTIONS:
        yield Fragment((spoken, figures), f"{spoken},")
        yield Fragment((f"and {spoken}",), f"and {spoken},")
    for spellings in UNITS:
        yield Fragment(spellings, f"{spellings[0]},")


def _announcements(permissions: Iterable[str]) -> Iterator[told.Announcement]:
    """Every kind of announcement in every form, about a site called "x"."""
    for permission in permissions:
        yield told.AskPermission(permission)
        yield from (told.Answered(permission, granted) for granted in (True, False))
        yield told.Stopped(permission)
        yield told.Undone("permission", permission)
    yield told.AskTape("x")
    yield told.AskTape("x", Inches(1))
    yield from (told.ReadBackTape("x", Inches(1), Inches(1), rounded) for rounded in (True, False))
    for share in ((1, 3), (2, 3), (1, 4)):
        yield told.ReadBackTape("x", Inches(1), Inches(1), False, share=share)
    for tape_doubt in TapeDoubtKind:
        for other in (None, Inches(2)):
            doubts = (TapeDoubt(tape_doubt, other),)
            yield told.ReadBackTape("x", Inches(1), Inches(1), True, doubts)
    yield told.SavedTape("x", Inches(1))
    for circuit in (1, 2, 3, 4):
        yield told.AskReading("x", circuit, third=False)
    yield from (told.AskReading("x", 3, True, again) for again in (True, False))
    yield told.ReadBack("x", 1, 150, ())
    for kind in DoubtKind:
        yield from (told.ReadBack("x", 1, 150, (Doubt(kind, other),)) for other in (None, 500))
    yield told.Saved("x", 150)
    yield told.Dropped("x")
    yield from (told.Skipped("x", reason) for reason in SkipReason)
    yield told.Undone("reading", "x", 150)
    yield from (told.Undone(what, "x") for what in ("tape", "skip", "setup", "extra", "later"))
    for why in told.Why:
        yield from (told.Refused(why, site, 150) for site in (None, "x"))
    for why_not in WhyNot:
        yield from (told.SayAgain(NotUnderstood(why_not, detail)) for detail in ("", "100.0"))
    yield from (told.AllMeasured(), told.Paused(), told.Signed(), told.Finished())
    yield from _of_the_trade()


def _of_the_trade() -> Iterator[told.Announcement]:
    """What is said of choices, cautions and setup, about a site called "x"."""
    for option in Option:
        yield from (told.Chosen(option), told.Ended(option), told.Undone("choice", option))
    for caution in Caution:
        yield from (told.Noted(caution), told.Undone("caution", caution))
    for what in Preparation:
        yield from (told.AskPreparation(what), told.Undone("preparation", what))
        yield from (told.Prepared(what, yes) for yes in (True, False))
    yield from (told.Undone("finish"), told.PutOff("x"))
    yield from (told.NoteOpen(), told.Undone("remark"))
    yield from (told.RemarkTaken(spoken) for spoken in (True, False))
    for why in told.WhyNext:
        yield told.AskReading("x", 1, third=False, why=why)
        yield told.AskReading("x", 1, third=False, same_again=True, why=why)
    yield from (told.AskReading("x", 1, third=False, setup=SiteSetup("x", fold)) for fold in Fold)
    for field, befores, afters in (
        (SetupField.FOLD, (OPEN,), (OPEN,)),
        (SetupField.SIDE, (OPEN,), (OPEN,)),
        (SetupField.CLOTH, (None, 0, 20), (0, 15)),
        (SetupField.OFFSET, (None, 10), (25,)),
    ):
        for after in afters:
            yield told.SetupSaved("x", field, after)
            for before in (each for each in befores if each != after or after == OPEN):
                yield from (
                    told.AskSetup("x", field, before, after, last) for last in (True, False)
                )
    yield told.ReadBack("x", 1, 150, (), 15)
    yield told.Saved("x", 150, 15)


def sentence_parts(grammar: Grammar, protocol: Protocol) -> dict[str, str]:
    """The words of every fixed part of a sentence, each with how it is written."""
    site = replace(protocol.sites[0], id="x", title=OPEN, tape_from=OPEN, tape_to=OPEN)
    wording = English(_OpenNumbers(grammar), replace(protocol, sites=(site,)))
    parts: dict[str, str] = {}
    for announcement in _announcements(("touch", "marks", "clothing")):
        text = _VALUE.sub(OPEN, wording.say(announcement))
        for piece in (piece for sentence in _STOP.split(text) for piece in sentence.split(OPEN)):
            words = " ".join(words_of(piece))
            if words:
                parts.setdefault(words, piece.strip(" ,:;"))
    return parts


def name_fragments(grammar: Grammar, protocols: Iterable[Protocol]) -> Iterator[Fragment]:
    """Sites, and the ends from which a tape is read."""
    names = dict.fromkeys(
        value.replace("_", " ")
        for _, slots in grammar.automaton("foldcall.sites.site").sentences()
        if isinstance(value := slots.get("site"), str)
    )
    for protocol in protocols:
        names |= dict.fromkeys(site.title for site in protocol.sites)
        for site in protocol.tape_sites:
            names |= dict.fromkeys(end for end in (site.tape_from, site.tape_to) if end)
    names |= dict.fromkeys(each.value for each in (*Fold, *Side))
    names |= {"cloth of unknown thickness": None}
    for name in names:
        yield Fragment((name,), f"{name},")


def all_fragments(grammar: Grammar) -> tuple[Fragment, ...]:
    """Everything that is spoken, each spelling once."""
    found: dict[tuple[str, ...], Fragment] = {}
    sentences = (
        Fragment((words,), text)
        for protocol in PROTOCOLS.values()
        for words, text in sentence_parts(grammar, protocol).items()
    )
    for fragment in (*number_fragments(), *name_fragments(grammar, PROTOCOLS.values()), *sentences):
        if words_of(fragment.says[0]) not in found:
            for spelling in fragment.says:
                found[words_of(spelling)] = fragment
    return tuple(dict.fromkeys(found.values()))


def levelled(samples: Samples, rate_hz: int = RATE_HZ) -> Samples:
    """Cut close, faded at both ends, and brought to the common level."""
    loudness = np.sqrt(np.convolve(samples**2, np.full(240, 1 / 240), "same"))
    loud = np.flatnonzero(loudness > 0.03 * loudness.max())
    edge = int(EDGE_S * rate_hz)
    cut = samples[max(0, loud[0] - edge) : loud[-1] + edge].astype(np.float32)
    body = np.sqrt(np.mean(np.sort(cut**2)[len(cut) // 2 :]))
    cut = cut * np.float32(10 ** (SPEECH_DBFS / 20) / body)
    cut *= np.float32(min(1.0, PEAK / np.abs(cut).max()))
    fade = np.linspace(0, 1, int(FADE_S * rate_hz), dtype=np.float32)
    cut[: len(fade)] *= fade
    cut[-len(fade) :] *= fade[::-1]
    return cut


def _spoken(voice: Any, fragment: Fragment, seed: int) -> Samples:
    bare = fragment.text.rstrip(",.")
    phonemes = READINGS[bare] + "," if bare in READINGS else voice.g2p(fragment.text)
    made = voice.from_phonemes(phonemes, speed=fragment.pace, seed=seed)
    return levelled(np.asarray(made, np.float32))


def speak(fragments: Sequence[Fragment], folder: Path, seed: int) -> Mapping[str, float]:
    """Write the bank's sound and index into a folder; figures about it."""
    # Only the machine that makes the prompts has this package.
    voice = importlib.import_module("hibari").Hibari("heart")
    gap = np.zeros(int(GAP_S * RATE_HZ), np.float32)
    parts: list[Samples] = [gap]
    lines = [
        "# What the prompts hold: made by python -m capture.training.prompts, do not edit.",
        "format = 1",
        f'file = "{SOUND_FILE}"',
        f"rate_hz = {RATE_HZ}",
        f'voice = "{VOICE}"',
    ]
    at = len(gap)
    for fragment in fragments:
        samples = _spoken(voice, fragment, seed)
        said = ", ".join(f'"{spelling}"' for spelling in fragment.says)
        lines += ["", "[[clip]]", f"says = [{said}]", f"start = {at}", f"length = {len(samples)}"]
        lines += ["apart = true"] if fragment.apart else []
        parts += [samples, gap]
        at += len(samples) + len(gap)
    folder.mkdir(parents=True, exist_ok=True)
    sound_of_all = np.concatenate(parts)
    sound = folder / SOUND_FILE
    with soundfile.SoundFile(
        sound, "w", RATE_HZ, 1, "VORBIS", format="OGG", compression_level=QUALITY
    ) as file:
        for start in range(0, at, RATE_HZ):
            file.write(sound_of_all[start : start + RATE_HZ])
    (folder / INDEX_FILE).write_text("\n".join(lines) + "\n", encoding="utf-8")
    return {"clips": len(fragments), "seconds": at / RATE_HZ, "bytes": sound.stat().st_size}


def main() -> None:
    """Make the bank."""
    pack = open_pack(data_folder("grammars") / "en")
    parser = argparse.ArgumentParser(
        prog="python -m capture.training.prompts", description="Speak the read-back prompts."
    )
    parser.add_argument("--out", type=Path, default=pack.folder / "prompts", help="folder")
    parser.add_argument("--seed", type=int, default=7)
    chosen = parser.parse_args()
    figures = speak(all_fragments(pack.grammar), chosen.out, chosen.seed)
    print("  ".join(f"{name} {value:.0f}" for name, value in figures.items()))


if __name__ == "__main__":
    main()
