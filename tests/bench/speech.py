"""The speech benchmark: `python tests/bench/speech.py --cache FOLDER [--people FOLDER]`.

Voices that took no part in training speak calls of the grammar; each is heard in a quiet room and
in three noises at 20, 10 and 5 dB, then half an hour of other sound is heard. The tables say how
often a call came out exact, doubtful, asked again or silently wrong. Needs the extra `bench`, and
the programs flite and espeak-ng to speak the calls the first time. `--fit` fits the doubt anew,
`--renew` writes the tables into the model's card.
"""

import argparse
import re
from collections.abc import Sequence
from pathlib import Path

import fit
import sounds
import trial
from figures import (
    Count,
    Outcome,
    markdown,
    outcome_table,
    percent,
    percentile,
    reliability,
    reliability_table,
)
from trial import Setup, Stray, Trial

from capture.recognise.certainty import Certainty, parse_certainty
from capture.wiring import default_pack

STATED = (0, 0.25, 0.5, 0.75, 0.9, 0.95, 0.98, 0.99, 0.995, 1)
AGAIN_BELOW = 0.5
STRAY_RULES = ("reading_wanted", "readback")
QUIET_TO_10_DB = (None, 20, 10)


def by_condition(found: Sequence[Trial], certainty: Certainty | None) -> list[Count]:
    """Outcomes in each room, then at each distance of speech from noise."""
    names = list(dict.fromkeys(each.condition for each in found))
    groups = {name: [each for each in found if each.condition == name] for name in names}
    for snr_db in trial.SNRS_DB:
        noisy = [each for each in found if each.snr_db == snr_db]
        groups[f"all noises {snr_db} dB"] = noisy
    return _counts(groups, certainty)


def by_voice(found: Sequence[Trial], certainty: Certainty | None) -> list[Count]:
    """Outcomes of each voice, quiet and at 10 dB."""
    groups = {}
    for voice in (*sounds.VOICES, sounds.PERSON):
        for snr_db, name in ((None, "clean"), (10, "10 dB")):
            chosen = [each for each in found if each.voice == voice and each.snr_db == snr_db]
            groups[f"{voice}, {name}"] = chosen
    return _counts(groups, certainty)


def _counts(groups: dict[str, list[Trial]], certainty: Certainty | None) -> list[Count]:
    return [
        Count(name, tuple(each.outcome(certainty) for each in group))
        for name, group in groups.items()
        if group
    ]


def fitted(found: Sequence[Trial], stray: Sequence[Stray]) -> Certainty:
    """The doubt fitted on its half of the voices, what they said outside the grammar included."""
    mine = [each for each in found if each.for_fitting]
    cases = [
        (answer.evidence, answer.right)
        for each in mine
        for answer in each.answers
        if answer.evidence is not None
    ]
    for each in stray:
        if each.for_fitting:
            cases += [(a.evidence, False) for a in each.answers if a.evidence] * fit.STRAY_WEIGHT
    intercept, coefficients = fit.fit(cases)
    draft = Certainty(intercept, coefficients, AGAIN_BELOW, AGAIN_BELOW)
    usual = [each for each in mine if each.snr_db in QUIET_TO_10_DB]
    stated = [
        (answer.probability(draft), answer.right) for each in usual for answer in each.answers
    ]
    normal_from = fit.normal_threshold(stated, len(usual))
    return Certainty(intercept, coefficients, normal_from, AGAIN_BELOW)


def fit_note(found: Sequence[Trial], seed: int) -> list[str]:
    """How the coefficients came about."""
    mine = [each for each in found if each.for_fitting]
    count = sum(len(each.answers) for each in mine)
    return [
        "How probable it is that an utterance was heard right: see capture/recognise/certainty.py.",
        "Fitted by `python tests/bench/speech.py --fit` (logistic regression, ridge "
        f"{fit.RIDGE}, seed {seed})",
        f"on {count} answers to {len(mine)} calls of the voices {', '.join(fit.FITTED_ON)},",
        "quiet and in three noises at 20, 10 and 5 dB. normal_from: at most "
        f"{100 * fit.SILENT_GOAL:.2g} % of those",
        "calls down to 10 dB are wrong above it. again_below: more likely wrong than right.",
        "What the same voices said outside the grammar and was taken for a call counts as wrong,",
        f"{fit.STRAY_WEIGHT} times each. Beeps, impacts and music were left for the report.",
    ]


def stray_table(found: Sequence[Stray], certainty: Certainty) -> list[str]:
    """What other sound was taken for."""
    rows = []
    for each in found:
        verdicts = [certainty.verdict(a.probability(certainty)).value for a in each.answers]
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


def speed_lines(found: Sequence[Trial], memory: float, name: str) -> list[str]:
    """Compute, waiting and memory."""
    answers = [each for item in found for each in item.answers if each.right]
    busy = [1000 * each.busy_s for each in answers]
    factor = sum(each.busy_s for each in found) / sum(each.sound_s for each in found)
    lines = [
        f"{name}: real-time factor {factor:.3f} on one core; from the block that ends a call to "
        f"its intent {percentile(busy, 0.5):.0f} ms, p95 {percentile(busy, 0.95):.0f} ms of "
        f"computing; peak memory {memory:.0f} MB above Python's."
    ]
    if name == "foldcall":
        quiet = [a.wait_s for item in found if item.snr_db is None for a in item.answers]
        lines.append(
            f"From the end of speech to the intent, silence waited out included: "
            f"{percentile(quiet, 0.5):.2f} s, p95 {percentile(quiet, 0.95):.2f} s in a quiet room, "
            "to 0.1 s."
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
    same = {(each.voice, each.number, each.condition) for each in other}
    mine = [each for each in ours if (each.voice, each.number, each.condition) in same]
    rows = []
    for left, right in zip(by_condition(mine, None), by_condition(other, None), strict=True):
        cells = [left.name, str(len(left.outcomes))]
        for count in (left, right):
            for outcome in (Outcome.EXACT, Outcome.WRONG):
                cells.append(percent(count.of(outcome), len(count.outcomes)))
        rows.append(cells)
    header = ("heard", "calls", "foldcall exact %", "wrong %", f"{name} exact %", "wrong %")
    return markdown(header, rows)


def renew(card: Path, lines: Sequence[str]) -> None:
    """Put the tables into the model's card."""
    text = card.read_text(encoding="utf-8")
    pattern = re.compile("(<!-- benchmark -->\n).*?(<!-- /benchmark -->)", re.DOTALL)
    body = "\n".join(lines)
    text, count = pattern.subn(lambda found: f"{found[1]}{body}\n{found[2]}", text)
    if count != 1:
        raise SystemExit(f"{card} lacks the marks of the benchmark")
    card.write_text(text, encoding="utf-8")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="The speech benchmark.")
    parser.add_argument("--cache", type=Path, required=True, help="folder for the sounds")
    parser.add_argument("--people", type=Path, help="folder of the Free Spoken Digit Dataset")
    parser.add_argument("--calls", type=int, default=1000, help="spoken calls to make")
    parser.add_argument("--at-most", type=int, default=10**6, help="calls to hear of each voice")
    parser.add_argument("--rival-at-most", type=int, default=25, help="the same for pocketsphinx")
    parser.add_argument("--minutes", type=float, default=30.0, help="of sound without a call")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--fit", action="store_true", help="fit the doubt anew")
    parser.add_argument("--renew", action="store_true", help="write the tables into the card")
    return parser.parse_args()


def main() -> None:
    """Run everything and print it."""
    chosen = _arguments()
    pack = default_pack()
    sounds.make(chosen.cache, pack.grammar, chosen.calls, chosen.people, chosen.seed)
    setup = Setup(chosen.cache, chosen.calls, chosen.at_most, chosen.seed)
    found = trial.trials(setup, "foldcall", chosen.processes)
    file = pack.folder / "certainty.toml"
    stray = list(trial.strays(setup, STRAY_RULES, chosen.minutes))
    if chosen.fit:
        file.write_text(
            fit.toml(fitted(found, stray), fit_note(found, chosen.seed)), encoding="utf-8"
        )
    certainty = parse_certainty(file.read_text(encoding="utf-8"))
    report = [each for each in found if not each.for_fitting]
    lines = [f"{len(found)} calls heard; on the voices that the doubt was not fitted on:", ""]
    lines += outcome_table(by_condition(report, certainty))
    lines += ["", "All voices:", "", *outcome_table(by_voice(found, certainty))]
    pairs = [(a.probability(certainty), a.right) for each in report for a in each.answers]
    lines += ["", "Is the stated probability true? The same calls:", ""]
    lines += reliability_table(reliability(pairs, STATED))
    lines += ["", "Sound without a call:", ""]
    lines += stray_table(stray, certainty)
    speed = speed_lines(found, trial.memory_mb("foldcall"), "foldcall")
    if chosen.rival_at_most:
        few = Setup(chosen.cache, chosen.calls, chosen.rival_at_most, chosen.seed)
        other = trial.trials(few, "pocketsphinx", chosen.processes)
        lines += ["", "The same calls through pocketsphinx, without doubt on either side:", ""]
        lines += compare(found, other, "pocketsphinx")
        speed += speed_lines(other, trial.memory_mb("pocketsphinx"), "pocketsphinx")
    lines += ["", *(f"* {line}" for line in speed)]
    print("\n".join(lines))
    print("\nMost frequent mistakes:", *mistakes(found))
    if chosen.renew:
        renew(pack.model / "README.md", lines)


if __name__ == "__main__":
    main()
