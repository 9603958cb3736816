"""Is a voice check worth its two minutes? Checks of many voices in many rooms, and visits after.

    python -m tests.bench.rooms [--calls N] [--voices NAME...] [--rooms NAME...]

Needs the programs flite and espeak-ng. Each voice, which the model never heard, says the twenty
prompts in each room, and then N other calls of a visit there. Told are the verdicts, what became of
the other calls by verdict, and for the rooms where the check found a silent mistake, what the
threshold that it asks for changes. About a tenth of a second of computing a call.
"""

import argparse
import random
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from capture.language.grammar import LISTENING, Grammar, understand
from capture.language.intents import NotUnderstood
from capture.protocol.protocol import SEVEN_SITES
from capture.recognise.certainty import Certainty
from capture.training.voices import Engine, Espeak, Flite, Samples, Spoken
from capture.voice_check import Answer, Outcome, Result, Round, answered
from capture.voice_prompts import Prompt, prompts
from capture.voice_verdict import Trust, needed_threshold, tally, trust
from capture.wiring import Ear, default_pack, open_ear
from tests.bench import noises, sounds
from tests.bench.figures import markdown, percent

VOICES: Mapping[str, Engine] = {
    "rms": Flite(("rms",)),
    **{
        name: Espeak(("en-us", "en-gb"), (name,))
        for name in ("f5", "m5", "edward2", "Gene2", "steph3", "grandma")
    },
}
ROOMS: Mapping[str, tuple[str | None, float]] = {
    "quiet": (None, 0.0),
    "pink 10 dB": ("pink", 10.0),
    "gym 20 dB": ("gym", 20.0),
    "gym 10 dB": ("gym", 10.0),
    "babble 20 dB": ("babble", 20.0),
    "babble 10 dB": ("babble", 10.0),
    "babble 5 dB": ("babble", 5.0),
}
"""Each room with its noise and how far the speech is above it."""

SITES = {site.id for site in SEVEN_SITES.sites}
_BLOCK = 1600


@dataclass(frozen=True, slots=True)
class Room:
    """One voice in one room: its check, and what became of other calls there.

    `usual` is by the pack's thresholds, `stricter` by what the check asks for, None for nothing.
    """

    voice: str
    room: str
    check: tuple[Result, ...]
    usual: tuple[Result, ...]
    stricter: tuple[Result, ...] | None

    @property
    def trust(self) -> Trust:
        """The verdict of the check."""
        return trust(tally(self.check))


class Listener:
    """Hears calls as a visit does."""

    def __init__(self, ear: Ear, grammar: Grammar, rules: Iterable[str]) -> None:
        self._ear = ear
        self._parsers = {rule: grammar.parser(rule, SITES) for rule in rules}

    def results(
        self, prompt: Prompt, sound: bytes, doubts: Sequence[Certainty]
    ) -> tuple[Result, ...]:
        """What became of a call, by each measure of doubt."""
        listener = self._ear.listener(noises.RATE_HZ, prompt.rule)
        size = 2 * _BLOCK
        found = [listener.feed(sound[at : at + size]) for at in range(0, len(sound), size)]
        heard = [each for each in (*found, listener.finish()) if each is not None]
        parser = self._parsers[prompt.rule]
        return tuple(
            _result(prompt, [answered(prompt, each, parser, doubt) for each in heard])
            for doubt in doubts
        )


def _result(prompt: Prompt, answers: Sequence[Answer]) -> Result:
    """What a visit makes of all that was heard of one call; silence is asked for again."""
    at = Round((prompt,), tries=len(answers) + 1)
    for each in answers:
        if at.present is not None:
            at = at.take(each)
    return at.results[0] if at.results else Result(prompt, Outcome.AGAIN)


def other_calls(grammar: Grammar, rng: random.Random, count: int) -> list[Prompt]:
    """Calls of a visit, as often as they are said there."""
    found: list[Prompt] = []
    for name, text in sounds.call_texts(grammar, rng):
        if name == "permission":
            continue
        rule = LISTENING + name
        meant = understand(grammar.parser(rule, SITES), text.split())
        if not isinstance(meant, NotUnderstood):
            found.append(Prompt(rule, text, meant))
        if len(found) == count:
            return found
    raise AssertionError("the grammar has no end")


def said(engine: Engine, asked: Sequence[Prompt], rng: random.Random) -> list[Samples]:
    """These prompts at 16 kHz."""
    return [_at_16k(each) for each in engine.speak([prompt.words for prompt in asked], rng)]


def _at_16k(spoken: Spoken) -> Samples:
    length = int(len(spoken.samples) * noises.RATE_HZ / spoken.rate_hz)
    moments = np.arange(length) / noises.RATE_HZ
    given = np.arange(len(spoken.samples)) / spoken.rate_hz
    return np.interp(moments, given, spoken.samples).astype(np.float32)


def tried(calls: int, voices: Sequence[str], rooms: Sequence[str], seed: int = 1) -> Iterator[Room]:
    """Each of these voices in each of these rooms."""
    pack = default_pack()
    fitted = pack.certainty()
    assert fitted is not None
    asked = prompts(pack.grammar, SITES)
    rules = [LISTENING + name for name in sounds.RULES]
    hearing = Listener(open_ear(pack, rules, SITES), pack.grammar, rules)
    talk = random.Random(seed)
    lines = [sounds.other_speech(talk) for _ in range(60)]
    crowd = [_at_16k(each) for each in Espeak().speak(lines, talk)]
    kinds = noises.kinds(crowd)
    for voice in voices:
        engine, number = VOICES[voice], list(VOICES).index(voice)
        rng = random.Random(seed * 100 + number)
        others = other_calls(pack.grammar, rng, calls)
        prompted, spoken = said(engine, asked, rng), said(engine, others, rng)
        for room in rooms:
            kind, snr_db = ROOMS[room]
            noise = None if kind is None else kinds[kind]
            chance = np.random.default_rng([seed, number, list(ROOMS).index(room)])

            def heard(
                said_now: Sequence[tuple[Prompt, Samples]], *doubts: Certainty
            ) -> list[tuple[Result, ...]]:
                return [
                    hearing.results(prompt, noises.in_room(samples, noise, snr_db, chance), doubts)  # noqa: B023
                    for prompt, samples in said_now
                ]

            check = tuple(
                each for (each,) in heard(list(zip(asked, prompted, strict=True)), fitted)
            )
            least = needed_threshold(check)
            after = heard(
                list(zip(others, spoken, strict=True)), fitted, fitted.stricter(least or 0.0)
            )
            usual, stricter = (tuple(results) for results in zip(*after, strict=True))
            yield Room(voice, room, check, usual, None if least is None else stricter)


def table(found: Sequence[Room]) -> list[str]:
    """A line for each verdict: the checks, and what became of the other calls there."""
    rows = []
    for verdict in (Trust.VOICE, Trust.OFTEN, Trust.LITTLE, Trust.KEYPAD):
        those = [each for each in found if each.trust is verdict]
        rows.append(_row(verdict.value, those, [r for each in those for r in each.usual]))
        raised = [each for each in those if each.stricter is not None]
        if raised:
            results = [r for each in raised for r in each.stricter or ()]
            rows.append(_row(f"{verdict.value}, threshold raised", raised, results))
    return markdown(("verdict", "checks", "right at once %", "silently wrong %"), rows)


def _told(each: Room) -> str:
    """One voice in one room in a line: the check, the other calls, these with its threshold."""
    told = f"{each.voice}, {each.room}: {each.trust}; check {_counts(each.check)}; "
    told += f"other calls {_counts(each.usual)}"
    return told if each.stricter is None else f"{told}; with the threshold {_counts(each.stricter)}"


def _counts(results: Sequence[Result]) -> str:
    counts = tally(results)
    return (
        f"{counts.right} right, {counts.doubtful} doubtful, {counts.asked_again} again, "
        f"{counts.silently_wrong} wrong"
    )


def _row(name: str, those: Sequence[Room], results: Sequence[Result]) -> tuple[str, ...]:
    if not results:
        return (name, str(len(those)), "", "")
    counts = tally(results)
    return (
        name,
        str(len(those)),
        percent(counts.right, counts.calls),
        percent(counts.silently_wrong, counts.calls),
    )


def main() -> None:
    """Try all, and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--calls", type=int, default=40, help="other calls in each room")
    parser.add_argument("--voices", nargs="+", choices=VOICES, default=list(VOICES))
    parser.add_argument("--rooms", nargs="+", choices=ROOMS, default=list(ROOMS))
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    found = []
    for each in tried(chosen.calls, chosen.voices, chosen.rooms, chosen.seed):
        found.append(each)
        print(_told(each), flush=True)
    print(*table(found), sep="\n")


if __name__ == "__main__":
    main()
