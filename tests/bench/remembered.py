"""What it helps that a visit remembers which words it misheard: `capture/visit/misheard.py`.

The readings of each voice, in the order of the benchmark, in visits of so many. A silent mistake is
noticed at its read-back and corrected; from then on the same word is asked about.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence

from capture.language.confusable import Part, one_part_apart, with_part
from capture.language.intents import Correct, Reading
from capture.recognise.certainty import Certainty
from tests.bench.figures import Count, Outcome
from tests.bench.hearing import Judge
from tests.bench.trial import Trial

READINGS = 40
"""Of a visit: seven sites in three circuits, and nearly as many said again."""

ValueOf = Callable[[str, Sequence[str]], int | None]
"""The value in tenths of a millimetre that words mean under a rule; None for other calls."""


def values_of(judge: Judge) -> ValueOf:
    """The values that a judge sees in words."""

    def value(rule: str, words: Sequence[str]) -> int | None:
        meant = judge.meaning(rule, words)
        return meant.value_tenths_mm if isinstance(meant, Reading | Correct) else None

    return value


def remembered(
    found: Sequence[Trial], value_of: ValueOf, certainty: Certainty, name: str
) -> list[Count]:
    """The outcomes of the readings without and with memory; none without readings."""
    pairs = list(_outcomes(found, value_of, certainty))
    if not pairs:
        return []
    without, having = zip(*pairs, strict=True)
    return [Count(name, without), Count(f"{name}, remembered", having)]


def _outcomes(
    found: Sequence[Trial], value_of: ValueOf, certainty: Certainty
) -> Iterator[tuple[Outcome, Outcome]]:
    known: defaultdict[str, list[tuple[Part, Part]]] = defaultdict(list)
    count: Counter[str] = Counter()
    for trial in found:
        meant = value_of(trial.rule, trial.text.split())
        if meant is None:
            continue
        if count[trial.voice] % READINGS == 0:
            known[trial.voice].clear()
        count[trial.voice] += 1
        outcome = trial.outcome(certainty)
        heard = None
        if len(trial.answers) == 1:
            heard = value_of(trial.rule, trial.answers[0].words)
        pairs = known[trial.voice]
        asked = heard is not None and any(with_part(heard, *pair) is not None for pair in pairs)
        passed = outcome in {Outcome.EXACT, Outcome.WRONG}
        yield outcome, Outcome.DOUBTFUL if asked and passed else outcome
        if outcome is Outcome.WRONG and not asked and heard is not None:
            apart = one_part_apart(heard, meant)
            pairs += [apart] if apart else []
