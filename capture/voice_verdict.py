"""What a voice check says about the voice here: counts, a plain verdict, a threshold. Pure."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from capture.recognise.certainty import Certainty
from capture.voice_check import Outcome, Result, Round

ENOUGH = 18
"""So many of twenty right at once, and the voice saves more than it costs. Own choice: about what
the benchmark's voices have in a quiet room."""

LEAST_TAKEN = 10
"""With fewer calls taken there is nothing to judge. Own choice."""

_STEP = 1e-4


@dataclass(frozen=True, slots=True)
class Tally:
    """How often each outcome came. Prompts that were left out are in none of these."""

    right: int
    doubtful: int
    asked_again: int
    silently_wrong: int

    @property
    def calls(self) -> int:
        """How many prompts were spoken."""
        return self.right + self.doubtful + self.asked_again + self.silently_wrong


class Trust(StrEnum):
    """Whether to work by voice here."""

    VOICE = "voice"
    OFTEN = "often"
    """It asks often; what it takes is right."""
    LITTLE = "little"
    """Not enough was heard."""
    KEYPAD = "keypad"
    """A wrong call was taken without a doubt."""


def tally(results: Sequence[Result]) -> Tally:
    """Count the outcomes."""
    told = [each.outcome for each in results]
    return Tally(
        told.count(Outcome.RIGHT),
        told.count(Outcome.DOUBTFUL),
        told.count(Outcome.AGAIN),
        told.count(Outcome.WRONG),
    )


def trust(found: Tally) -> Trust:
    """The verdict. One silent mistake outweighs everything else."""
    if found.silently_wrong:
        return Trust.KEYPAD
    if found.right >= ENOUGH:
        return Trust.VOICE
    if found.calls < ENOUGH or found.right + found.doubtful < LEAST_TAKEN:
        return Trust.LITTLE
    return Trust.OFTEN


def most_silently_wrong(calls: int) -> float:
    """The share of silent mistakes that none among so many calls still leaves possible.

    The exact upper bound, one-sided 95 %: the share p with (1 - p)^calls = 0.05 (Clopper and
    Pearson 1934, for no case at all).

    >>> round(most_silently_wrong(20), 3)
    0.139
    """
    if calls < 1:
        raise ValueError(f"{calls} calls bound nothing")
    return 1 - math.pow(0.05, 1 / calls)


def needed_threshold(results: Sequence[Result]) -> float | None:
    """The lowest threshold that would have asked about every silent mistake; None without one.

    In steps of 0.0001, above the probability of the surest mistake.
    """
    wrong = [
        each.answer.probability
        for each in results
        if each.outcome is Outcome.WRONG and each.answer is not None
    ]
    if not wrong:
        return None
    return min(1.0, round((math.floor(max(wrong) / _STEP) + 1) * _STEP, 4))


def still_right(results: Sequence[Result], threshold: float) -> int:
    """How many of what was right at once would be so with this threshold."""
    return sum(
        each.outcome is Outcome.RIGHT
        and each.answer is not None
        and each.answer.probability >= threshold
        for each in results
    )


def tally_line(found: Tally) -> str:
    """The counts in words.

    >>> tally_line(Tally(18, 1, 1, 0))
    '20 spoken: 18 right at once, 1 doubtful, 1 asked again, 0 silently wrong.'
    """
    counts = (
        (found.right, Outcome.RIGHT),
        (found.doubtful, Outcome.DOUBTFUL),
        (found.asked_again, Outcome.AGAIN),
        (found.silently_wrong, Outcome.WRONG),
    )
    told = ", ".join(f"{count} {outcome.value}" for count, outcome in counts)
    return f"{found.calls} spoken: {told}."


def report_lines(done: Round, certainty: Certainty | None) -> tuple[str, ...]:
    """The end of a check: what was not right at once, the counts, the verdict in plain words."""
    found = tally(done.results)
    lines = [_miss(each) for each in done.results if each.outcome is not Outcome.RIGHT]
    left_out = len(done.prompts) - found.calls
    counts = tally_line(found)
    if left_out:
        counts += f" {left_out} left out."
    if done.retaken:
        counts += f" {done.retaken} said again on request."
    return (*lines, counts, *_verdict(done.results, found, certainty))


def _miss(result: Result) -> str:
    said = f'  "{result.prompt.words}": '
    answer = result.answer
    if result.outcome is Outcome.SKIPPED or answer is None:
        return f"{said}{result.outcome.value}."
    heard = f'heard "{answer.words}" {answer.probability:.0%}' if answer.words else "no call heard"
    if result.outcome is Outcome.WRONG:
        return f"{said}{heard}, taken without a doubt."
    return f"{said}{heard}, {result.outcome.value}."


def _verdict(
    results: Sequence[Result], found: Tally, certainty: Certainty | None
) -> tuple[str, ...]:
    nearer = "nearer to the microphone or in a quieter room"
    match trust(found):
        case Trust.KEYPAD:
            said = (
                f"Use the keypad here: {found.silently_wrong} of {found.calls} would have gone "
                f"wrong without a question. Or speak {nearer}, and check again."
            )
            threshold = needed_threshold(results)
            if certainty is None or threshold is None:
                return (said,)
            kept = still_right(results, threshold)
            told = (
                f"A threshold of {threshold:.2%} instead of {certainty.normal_from:.2%} would have "
                f"asked about it, and left {kept} right at once."
            )
            if 2 * kept < found.calls:
                told += " With so many questions the keypad is quicker."
            return said, told
        case Trust.VOICE:
            bound = most_silently_wrong(found.calls)
            return (
                "The voice can be trusted here, with its read-back.",
                f"None of {found.calls} silently wrong still leaves up to {bound:.1%} possible "
                f"(95 %, 1 - 0.05^(1/{found.calls})): look or listen before each yes.",
            )
        case Trust.OFTEN:
            asked = found.doubtful + found.asked_again
            return (
                f"The voice will ask often here: {asked} of {found.calls} were doubtful or asked "
                f"again. It asks less {nearer}.",
            )
        case _:
            return (
                f"Not enough was heard to say: {found.right + found.doubtful} calls were taken, "
                f"{found.calls} prompts spoken. Check again {nearer}.",
            )
