"""The speech benchmark: `python -m tests.bench.speech --cache FOLDER [--people FOLDER]`.

Voices that took no part in training speak calls of the grammar; each is heard in a quiet room and
at 20, 10 and 5 dB from noise, of three kinds in turn; so are a tenth more, spoken with a rest
between two words; then half an hour of other sound is heard.
The tables say how often a call came out exact, doubtful, asked again or silently wrong. Needs the
extra `bench`, and the programs flite, espeak-ng, mbrola (us1, us2, us3, en1) and RHVoice (English)
to speak the calls the first time. What was heard is kept in the cache, so that a run that was
broken off goes on; `--fit` chooses coefficients and thresholds anew on one half of the voices,
`--renew` writes the tables into DEVELOPERS.md and the model's card. `--noisy 1` is quicker,
`--noisy 9` hears every call in everything.
"""

import argparse
import re
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from capture.recognise.certainty import Certainty, parse_certainty
from capture.recognise.ending import CLOSED_S, OPEN_S
from capture.wiring import default_pack
from tests.bench import fit, running, sounds
from tests.bench.figures import (
    Count,
    Outcome,
    markdown,
    outcome_table,
    percent,
    percentile,
    reliability,
    reliability_table,
)
from tests.bench.hearing import Judge
from tests.bench.remembered import READINGS, ValueOf, remembered, values_of
from tests.bench.running import OURS, RIVAL, SNRS_DB, Setup
from tests.bench.trial import Stray, Trial

STATED = (0, 0.25, 0.5, 0.75, 0.9, 0.95, 0.98, 0.99, 0.995, 1)
AGAIN_BELOW = 0.5
STRAY_RULES = ("reading_wanted", "readback")
QUIET_TO_10_DB = (None, 20, 10)
ROOMS = (None, *SNRS_DB)
GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"


def room(snr_db: int | None) -> str:
    """Such as "10 dB", or "clean"."""
    return "clean" if snr_db is None else f"{snr_db} dB"


def by_condition(found: Sequence[Trial], certainty: Certainty | None) -> list[Count]:
    """Outcomes in each room, at each distance of speech from noise, then of calls with a rest."""
    fluent = [each for each in found if not each.rested]
    rested = [each for each in found if each.rested]
    names = sorted(
        {each.condition for each in fluent},
        key=lambda name: (
            name != "clean",
            name.split()[0],
            -int(name.split()[-2]) if " " in name else 0,
        ),
    )
    groups = {name: [each for each in fluent if each.condition == name] for name in names}
    for snr_db in SNRS_DB:
        groups[f"all noises {snr_db} dB"] = [each for each in fluent if each.snr_db == snr_db]
    for snr_db in ROOMS:
        groups[f"with a rest, {room(snr_db)}"] = [each for each in rested if each.snr_db == snr_db]
    return _counts(groups, certainty)


def by_voice(
    found: Sequence[Trial],
    voices: Sequence[str],
    rooms: Sequence[int | None],
    certainty: Certainty | None,
) -> list[Count]:
    """Outcomes of each voice, quiet (None) or with noise so many dB below the speech."""
    groups = {}
    for voice in voices:
        for snr_db in rooms:
            some = [
                each
                for each in found
                if each.voice == voice and each.snr_db == snr_db and not each.rested
            ]
            groups[f"{voice}, {room(snr_db)}"] = some
    return _counts(groups, certainty)


def _counts(groups: Mapping[str, list[Trial]], certainty: Certainty | None) -> list[Count]:
    return [
        Count(name, tuple(each.outcome(certainty) for each in group))
        for name, group in groups.items()
        if group
    ]


def fitted(found: Sequence[Trial], stray: Sequence[Stray]) -> Certainty:
    """The doubt fitted on its half of the voices, what they said outside the grammar included.

    For the thresholds each voice is judged by a fit without it, as the voices to come will be.
    """
    mine = [each for each in found if each.for_fitting]
    foreign = [each for each in stray if each.for_fitting]
    without = {
        voice: _drafted(
            [each for each in mine if each.voice != voice],
            [each for each in foreign if each.voice != voice],
        )
        for voice in {each.voice for each in (*mine, *foreign)}
    }
    usual = [each for each in mine if each.snr_db in QUIET_TO_10_DB]
    stated = {
        at_once: [
            (answer.probability(without[each.voice]), answer.right)
            for each in usual
            for answer in each.answers
            if answer.at_once is at_once
        ]
        for at_once in (False, True)
    }
    passing = [
        answer.probability(without[each.voice])
        for each in foreign
        for answer in each.answers
        if answer.at_once
    ]
    normal_from = fit.normal_threshold(stated[False], len(usual))
    sure_from = max(normal_from, fit.sure_threshold(stated[True], passing, len(usual)))
    return replace(_drafted(mine, foreign), normal_from=normal_from, sure_from=sure_from)


def _drafted(said: Sequence[Trial], stray: Sequence[Stray]) -> Certainty:
    """The doubt fitted on all that it is given, with no threshold but that of asking again."""
    cases = [
        (answer.evidence, answer.right)
        for each in said
        for answer in each.answers
        if answer.evidence is not None
    ]
    foreign = [answer.evidence for each in stray for answer in each.answers if answer.evidence]
    cases += [(evidence, False) for evidence in foreign] * fit.STRAY_WEIGHT
    intercept, coefficients = fit.fit(cases)
    return Certainty(intercept, coefficients, AGAIN_BELOW, AGAIN_BELOW, AGAIN_BELOW)


def fit_note(found: Sequence[Trial], seed: int) -> list[str]:
    """How the coefficients came about."""
    mine = [each for each in found if each.for_fitting]
    count = sum(len(each.answers) for each in mine)
    return [
        "How probable it is that an utterance was heard right: see capture/recognise/certainty.py.",
        "Fitted by `python -m tests.bench.speech --fit` (logistic regression, ridge "
        f"{fit.RIDGE}, seed {seed})",
        f"on {count} answers to {len(mine)} calls of the voices {', '.join(fit.FITTED_ON)},",
        "quiet and in three noises at 20, 10 and 5 dB. normal_from: at most "
        f"{100 * fit.SILENT_GOAL:.2g} % of those",
        "calls down to 10 dB are wrong above it, each voice judged by a fit without it.",
        "again_below: more likely wrong than right.",
        "sure_from, for words that take effect at once: no less, and above all that these voices",
        f"said outside the grammar, as long as that costs at most {100 * fit.SURE_COST:.2g} % of "
        "the right ones.",
        "What the same voices said outside the grammar and was taken for a call counts as wrong,",
        f"{fit.STRAY_WEIGHT} times each. Beeps, impacts and music were left for the report.",
    ]


def stray_table(found: Sequence[Stray], certainty: Certainty) -> list[str]:
    """What other sound was taken for."""
    rows: list[tuple[str, ...]] = []
    for each in found:
        verdicts = [answer.verdict(certainty).value for answer in each.answers]
        words = [
            " ".join(answer.words)
            for answer, verdict in zip(each.answers, verdicts, strict=True)
            if verdict != "again"
        ]
        rows.append(
            (
                f"{each.kind}, {each.rule}",
                f"{each.sound_s / 60:.1f}",
                str(verdicts.count("normal")),
                str(verdicts.count("doubtful")),
                str(verdicts.count("again")),
                f"{each.busy_s / each.sound_s:.3f}",
                "; ".join(words[:4]),
            )
        )
    total = [f"{sum(s.sound_s for s in found) / 60:.1f}"]
    total += [str(sum(int(row[column]) for row in rows)) for column in (2, 3, 4)]
    rows.append(("all", *total, f"{max(s.busy_s / s.sound_s for s in found):.3f} at most", ""))
    return markdown(
        ("sound", "minutes", "taken", "doubtful", "asked again", "real-time factor", "as"), rows
    )


def speed_lines(found: Sequence[Trial], memory_mb: float | None, name: str) -> list[str]:
    """Compute, waiting and memory."""
    if not any(each.answers for each in found):
        return [f"{name}: no answer at all."]
    answers = [each for item in found for each in item.answers if each.right]
    busy = [1000 * each.busy_s for each in answers]
    factor = sum(each.busy_s for each in found) / sum(each.sound_s for each in found)
    memory = "it ran away on 20 s of noise"
    if memory_mb is not None:
        memory = f"peak memory {memory_mb:.0f} MB above Python's"
    lines = [
        f"{name}: real-time factor {factor:.3f} on one core; from the block that ends a call to "
        f"its intent {percentile(busy, 0.5):.0f} ms, p95 {percentile(busy, 0.95):.0f} ms of "
        f"computing; {memory}."
    ]
    if name != OURS:
        return lines
    quiet = [each for item in found if item.snr_db is None for each in item.answers if each.right]
    for silence_s, which in (
        (CLOSED_S, "calls that end there"),
        (OPEN_S, "calls that may go on, such as whole numbers"),
    ):
        waits = [each.wait_s for each in quiet if each.silence_s == silence_s]
        if waits:
            half, most = percentile(waits, 0.5), percentile(waits, 0.95)
            lines.append(
                f"From the end of speech to the intent, in a quiet room, {which} (n "
                f"{len(waits)}): {half:.2f} s, p95 {most:.2f} s, in blocks of 0.1 s. Without the "
                f"silence of {silence_s} s: {half - silence_s:.2f} s, p95 {most - silence_s:.2f} s."
            )
    return lines


def mistakes(found: Sequence[Trial], most: int = 25) -> list[str]:
    """The confusions that come most often: said > heard, with how often."""
    seen: dict[str, int] = {}
    for each in found:
        for answer in each.answers:
            if not answer.right:
                said, got = each.text.split(), list(answer.words)
                while said and got and said[0] == got[0]:
                    said, got = said[1:], got[1:]
                while said and got and said[-1] == got[-1]:
                    said, got = said[:-1], got[:-1]
                key = f"{' '.join(said) or '-'} > {' '.join(got) or '-'}"
                seen[key] = seen.get(key, 0) + 1
    ranked = sorted(seen.items(), key=lambda pair: -pair[1])[:most]
    return ["; ".join(f"{key} ({count})" for key, count in ranked)]


def compare(ours: Sequence[Trial], other: Sequence[Trial], name: str) -> list[str]:
    """Both recognisers on the same calls, without any measure of doubt."""
    same = {each.which for each in other}
    mine = [each for each in ours if each.which in same]
    rows = []
    for left, right in zip(by_condition(mine, None), by_condition(other, None), strict=True):
        cells = [left.name, str(len(left.outcomes))]
        for count in (left, right):
            for outcome in (Outcome.EXACT, Outcome.WRONG):
                cells.append(percent(count.of(outcome), len(count.outcomes)))
        rows.append(cells)
    header = ("heard", "calls", "foldcall exact %", "wrong %", f"{name} exact %", "wrong %")
    return markdown(header, rows)


def renew(file: Path, lines: Sequence[str]) -> None:
    """Put the tables between the marks of the benchmark."""
    text = file.read_text(encoding="utf-8")
    pattern = re.compile("(<!-- benchmark -->\n).*?(<!-- /benchmark -->)", re.DOTALL)
    body = "\n".join(lines)
    text, count = pattern.subn(lambda found: f"{found[1]}{body}\n{found[2]}", text)
    if count != 1:
        raise SystemExit(f"{file} lacks the marks of the benchmark")
    file.write_text(text, encoding="utf-8")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="The speech benchmark.")
    parser.add_argument("--cache", type=Path, required=True, help="folder for the sounds")
    parser.add_argument("--people", type=Path, help="folder of the Free Spoken Digit Dataset")
    parser.add_argument("--calls", type=int, default=4000, help="spoken calls to make")
    parser.add_argument("--noisy", type=int, default=3, help="noisy conditions of each call, 0-9")
    parser.add_argument("--at-most", type=int, default=10**6, help="calls to hear of each voice")
    parser.add_argument("--rival-at-most", type=int, default=40, help="the same for pocketsphinx")
    parser.add_argument("--minutes", type=float, default=30.0, help="of sound without a call")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--fit", action="store_true", help="fit the doubt anew")
    parser.add_argument("--renew", action="store_true", help="write the tables into the documents")
    return parser.parse_args()


def main() -> None:
    """Run everything and print it."""
    chosen = _arguments()
    began = time.monotonic()

    def tell(line: str) -> None:
        print(f"{time.monotonic() - began:6.0f} s  {line}", file=sys.stderr, flush=True)

    pack = default_pack()
    sounds.make(chosen.cache, pack.grammar, chosen.calls, chosen.people, chosen.seed)
    setup = Setup(chosen.cache, chosen.calls, chosen.seed, chosen.noisy, chosen.at_most)
    tell("the sounds are there")
    stray = running.strays(setup, STRAY_RULES, chosen.minutes, chosen.processes)
    tell("the sound without a call is heard")
    found = running.trials(setup, OURS, chosen.processes, tell).trials
    blind = running.trials(replace(setup, blind=True), OURS, chosen.processes, tell).trials
    file = pack.folder / "certainty.toml"
    if chosen.fit:
        file.write_text(
            fit.toml(fitted(found, stray), fit_note(found, chosen.seed)), encoding="utf-8"
        )
    certainty = parse_certainty(file.read_text(encoding="utf-8"))
    lines = report_lines(found, stray, certainty)
    lines += blind_lines(blind, certainty)
    lines += remembered_lines(found, blind, values_of(Judge(pack.grammar)), certainty)
    speed = speed_lines(found, running.memory_mb(OURS), OURS)
    if chosen.rival_at_most:
        few = Setup(chosen.cache, chosen.calls, chosen.seed, chosen.noisy, chosen.rival_at_most)
        other = running.trials(few, RIVAL, chosen.processes, tell)
        lines += ["", "The same calls through pocketsphinx, without doubt on either side:", ""]
        lines += compare(found, other.trials, RIVAL)
        lines += ["", f"Lost because pocketsphinx ran away on them or ended: {other.lost} calls."]
        speed += speed_lines(other.trials, running.memory_mb(RIVAL), RIVAL)
    lines += ["", *(f"* {line}" for line in speed)]
    print("\n".join(lines))
    print("\nMost frequent mistakes:", *mistakes(found))
    if chosen.renew:
        renew(GUIDE, lines)
        renew(pack.model / "README.md", lines)


def report_lines(found: Sequence[Trial], stray: Sequence[Stray], certainty: Certainty) -> list[str]:
    """The tables of our own recogniser."""
    report = [each for each in found if not each.for_fitting]
    calls = len({(each.voice, each.number, each.rested) for each in found})
    lines = [
        f"{calls} spoken calls, heard {len(found)} times; on the {len(report)} of the voices that "
        "the doubt was not fitted on (with 95 % intervals):",
        "",
    ]
    lines += outcome_table(by_condition(report, certainty))
    voices = (*sounds.VOICES, sounds.PERSON)
    lines += ["", "All voices:", "", *outcome_table(by_voice(found, voices, (None, 10), certainty))]
    pairs = [(a.probability(certainty), a.right) for each in report for a in each.answers]
    lines += [
        "",
        f"Is the stated probability true? The same calls. Usual from {certainty.normal_from:.1%}, "
        f"asked again below {certainty.again_below:.0%}, words that take effect at once from "
        f"{certainty.sure_from:.1%}.",
        "",
    ]
    lines += reliability_table(reliability(pairs, STATED))
    lines += ["", "Sound without a call:", ""]
    return [*lines, *stray_table(stray, certainty)]


def blind_lines(found: Sequence[Trial], certainty: Certainty) -> list[str]:
    """The voices for the report alone: all of them in each room, then each."""
    rooms = {room(snr_db): [each for each in found if each.snr_db == snr_db] for snr_db in ROOMS}
    counts = _counts({f"all, {name}": group for name, group in rooms.items()}, certainty)
    voices = (*sounds.BLIND_VOICES, sounds.BLIND_PERSON)
    counts += by_voice(found, voices, (None, 10), certainty)
    return [
        "",
        f"{len(voices)} voices on which nothing was chosen or fitted (allison is a person):",
        "",
        *outcome_table(counts),
    ]


def remembered_lines(
    found: Sequence[Trial], blind: Sequence[Trial], value_of: ValueOf, certainty: Certainty
) -> list[str]:
    """What it helps that a visit remembers which words it misheard."""
    report = [each for each in found if not each.for_fitting and not each.rested]
    counts = []
    for snr_db in QUIET_TO_10_DB:
        for name, group in (("the others", report), ("the eight", blind)):
            here = [each for each in group if each.snr_db == snr_db]
            counts += remembered(here, value_of, certainty, f"{name}, {room(snr_db)}")
    return [
        "",
        f"Their readings alone, each voice in visits of {READINGS}; what was silently wrong is "
        "corrected at its read-back, and the same word is asked about from then on:",
        "",
        *outcome_table(counts),
    ]


if __name__ == "__main__":
    main()
