"""`foldcall listen`: what is understood in sound files, as JSON-ready lines."""

from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import Any

from capture.errors import CaptureError
from capture.judgement import verdict_of
from capture.language.grammar import LISTENING, Parser, understand
from capture.language.intents import (
    Correct,
    CorrectTape,
    GoTo,
    NotUnderstood,
    Reading,
    Skip,
    Tape,
    kind_of,
    length_to_plain,
)
from capture.pack import Pack
from capture.recognise.certainty import Certainty
from capture.recognise.port import UNKNOWN, Heard
from capture.road import measured, spoken_call
from capture.sound.wav import SoundFile, open_sound
from capture.wiring import Ear, certainty_of, open_ear

ANYTHING = "anything"


def listen(
    files: Collection[Path], pack: Pack, rule: str = ANYTHING, model: Path | None = None
) -> Iterator[tuple[Path, CaptureError | SoundFile, list[dict[str, Any]]]]:
    """Yield for each file what was opened (or the CaptureError) and one line for each call.

    `rule` is the listening rule that holds for the whole file. A file without any call has one
    line without an intent.
    """
    full = LISTENING + rule
    ear = open_ear(pack, [full], model=model)
    certainty = certainty_of(pack, model)
    parser = pack.grammar.parser(full)
    for path in files:
        yield from _one(path, ear, full, parser, certainty)


def _one(
    path: Path, ear: Ear, rule: str, parser: Parser, certainty: Certainty | None
) -> Iterator[tuple[Path, CaptureError | SoundFile, list[dict[str, Any]]]]:
    try:
        sound = open_sound(path)
        recogniser = ear.listener(sound.rate_hz, rule)
        found = [recogniser.feed(block) for block in sound.blocks()]
        found.append(recogniser.finish())
    except CaptureError as error:
        yield path, error, []
        return
    calls = [described(path, heard, parser, certainty) for heard in found if heard is not None]
    yield path, sound, calls or [_nothing(path)]


def described(
    path: Path, heard: Heard, parser: Parser, certainty: Certainty | None = None
) -> dict[str, Any]:
    """One call as a JSON object. `value_mm` is None unless the call is a reading.

    `confidence` is the probability that the meaning is right, `verdict` what a visit makes of it.
    """
    words = tuple(word.text for word in heard.words)
    line = _nothing(path) | {
        "words": UNKNOWN if UNKNOWN in words else heard.text,
        "confidence": round(heard.confidence, 4),
        "start_s": round(heard.start_s, 3),
        "end_s": round(heard.end_s, 3),
    }
    if UNKNOWN not in words:
        heard = measured(heard, parser, certainty)
        call = spoken_call(heard, parser, certainty)
        line |= _meaning(words, parser)
        line |= {"confidence": round(call.certainty, 4), "verdict": verdict_of(call).value}
    rivals = [rival for rival in heard.alternatives if rival.words]
    if rivals:
        best = rivals[0]
        meant = {} if UNKNOWN in best.words else _meaning(best.words, parser)
        line["runner_up"] = {
            "words": UNKNOWN if UNKNOWN in best.words else best.text,
            "confidence": round(best.confidence, 4),
            "value_mm": meant.get("value_mm"),
        }
    return line


def _nothing(path: Path) -> dict[str, Any]:
    return {
        "file": str(path),
        "words": "",
        "confidence": None,
        "intent": None,
        "value_mm": None,
        "start_s": None,
        "end_s": None,
    }


def _meaning(words: Sequence[str], parser: Parser) -> dict[str, Any]:
    intent = understand(parser, words)
    meant: dict[str, Any] = {"intent": kind_of(intent)}
    match intent:
        case Reading(value, site):
            meant |= {"value_mm": value / 10, "site": site}
        case Correct(value):
            meant["value_mm"] = value / 10
        case Tape(length, site):
            meant |= {"length": length_to_plain(length), "site": site}
        case CorrectTape(length):
            meant["length"] = length_to_plain(length)
        case GoTo(site):
            meant["site"] = site
        case Skip(reason):
            meant["reason"] = reason.value
        case NotUnderstood(why, detail):
            meant |= {"why": why.value, "detail": detail}
        case _:
            pass
    return meant
