"""The voice check without sound: its prompts, what counts as what, and the verdict."""

from dataclasses import replace

import pytest

from capture.language.grammar import Grammar, understand
from capture.language.intents import Confirm, Reading
from capture.protocol.protocol import SEVEN_SITES
from capture.recognise.certainty import NAMES, Certainty
from capture.recognise.port import Heard
from capture.recognise.scripted import spoken
from capture.voice_check import MOST_TRIES, Answer, Outcome, Result, Round, answered
from capture.voice_prompts import Prompt, prompts
from capture.voice_verdict import (
    Tally,
    Trust,
    most_silently_wrong,
    needed_threshold,
    report_lines,
    still_right,
    tally,
    trust,
)

SITES = {site.id for site in SEVEN_SITES.sites}
SURE = Certainty(20.0, (0.0,) * len(NAMES), 0.9, 0.5, 0.9)
"""Takes everything for certain."""

UNSURE = replace(SURE, intercept=0.85)
"""Takes everything for seven parts in ten certain: doubtful."""

LOST = replace(SURE, intercept=-3.0)
YES = Prompt("foldcall.listening.readback", "yes", Confirm())
FIFTEEN = Prompt("foldcall.listening.reading_wanted", "fifteen", Reading(150))


@pytest.fixture(scope="module")
def asked(grammar: Grammar) -> tuple[Prompt, ...]:
    """The prompts of the English pack."""
    return prompts(grammar, SITES)


def answer(
    grammar: Grammar, prompt: Prompt, said: str, certainty: Certainty | None = SURE
) -> Answer:
    """What becomes of these words at a prompt."""
    heard: Heard = replace(spoken(said), score_per_s=900.0)
    return answered(prompt, heard, grammar.parser(prompt.rule, SITES), certainty)


def test_there_are_twenty_prompts_and_each_means_what_it_should(
    grammar: Grammar, asked: tuple[Prompt, ...]
) -> None:
    """Each is a call under its own rule; the halves of the hard pairs are never neighbours."""
    assert len(asked) == len({each.words for each in asked}) == 20
    for each in asked:
        assert understand(grammar.parser(each.rule, SITES), each.words.split()) == each.intent
    words = [each.words for each in asked]
    assert {"yes", "no", "undo", "twelve point five", "triceps ten point six"} <= set(words)
    for pair in (("fifteen", "fifty"), ("thirteen", "thirty"), ("five", "nine"), ("six", "sixty")):
        assert abs(words.index(pair[0]) - words.index(pair[1])) > 1


@pytest.mark.parametrize(
    ("said", "certainty", "outcome"),
    [
        ("fifteen", SURE, Outcome.RIGHT),
        ("one five", SURE, Outcome.RIGHT),
        ("fifty", SURE, Outcome.WRONG),
        ("repeat", SURE, Outcome.WRONG),
        ("fifteen", UNSURE, Outcome.DOUBTFUL),
        ("fifty", UNSURE, Outcome.DOUBTFUL),
        ("undo", UNSURE, Outcome.AGAIN),
        ("fifteen", LOST, Outcome.AGAIN),
        ("fifty", LOST, Outcome.AGAIN),
        ("[unk]", SURE, Outcome.AGAIN),
        ("fifteen four", SURE, Outcome.AGAIN),
    ],
)
def test_an_utterance_counts_as_what_a_visit_makes_of_it(
    grammar: Grammar, said: str, certainty: Certainty, outcome: Outcome
) -> None:
    """Right, doubtful, asked again, or taken for something else without any doubt."""
    assert answer(grammar, FIFTEEN, said, certainty).outcome is outcome


def test_what_began_too_early_is_never_right_at_once(grammar: Grammar) -> None:
    """Its first words may be missing: a reading is doubtful, a yes is said again."""
    for prompt, outcome in ((FIFTEEN, Outcome.DOUBTFUL), (YES, Outcome.AGAIN)):
        heard = replace(spoken(prompt.words), score_per_s=900.0)
        parser = grammar.parser(prompt.rule, SITES)
        assert answered(prompt, heard, parser, SURE).outcome is Outcome.RIGHT
        assert answered(prompt, heard, parser, SURE, begun_early=True).outcome is outcome


def test_without_a_measured_doubt_the_careful_limits_hold(grammar: Grammar) -> None:
    """Another model's own confidence has to be very high to count as right at once."""
    heard = spoken("fifteen", confidence=0.97, rivals=["fifty"])
    parser = grammar.parser(FIFTEEN.rule, SITES)
    assert answered(FIFTEEN, heard, parser, None).outcome is Outcome.DOUBTFUL
    assert answered(FIFTEEN, spoken("fifteen"), parser, None).outcome is Outcome.RIGHT


RIGHT = Answer(Outcome.RIGHT, "fifteen", 0.99, True)
WRONG = Answer(Outcome.WRONG, "fifty", 0.95, False)
NOTHING = Answer(Outcome.AGAIN, "", 0.0, False)
DOUBTFUL = Answer(Outcome.DOUBTFUL, "fifteen", 0.7, True)


def outcomes(done: Round) -> list[Outcome]:
    """What became of each prompt so far."""
    return [each.outcome for each in done.results]


def test_a_prompt_stays_until_something_is_taken(asked: tuple[Prompt, ...]) -> None:
    """What had to be said twice was asked again, but a silent mistake stays one."""
    at = Round(asked)
    assert at.take(NOTHING).present == asked[0]
    assert outcomes(at.take(RIGHT)) == [Outcome.RIGHT]
    assert outcomes(at.take(NOTHING).take(RIGHT)) == [Outcome.AGAIN]
    assert outcomes(at.take(NOTHING).take(DOUBTFUL)) == [Outcome.AGAIN]
    assert outcomes(at.take(NOTHING).take(WRONG)) == [Outcome.WRONG]
    tired = at
    for _ in range(MOST_TRIES):
        assert tired.present == asked[0]
        tired = tired.take(NOTHING)
    assert (tired.present, outcomes(tired)) == (asked[1], [Outcome.AGAIN])
    after = at.take(NOTHING).take(RIGHT).take(RIGHT)
    assert outcomes(after) == [Outcome.AGAIN, Outcome.RIGHT]


def test_a_prompt_can_be_left_out_or_said_once_more(asked: tuple[Prompt, ...]) -> None:
    """Left out counts nowhere; one spoken in vain counts; a retake is counted as such."""
    at = Round(asked)
    assert outcomes(at.skip()) == [Outcome.SKIPPED]
    assert outcomes(at.take(NOTHING).skip()) == [Outcome.AGAIN]
    back = at.take(WRONG).back()
    assert (back.present, back.results, back.retaken) == (asked[0], (), 1)
    assert at.back() == at
    assert at.skip().back().retaken == 0
    assert tally(at.skip().take(RIGHT).results) == Tally(1, 0, 0, 0)


def test_the_end_has_no_prompt(asked: tuple[Prompt, ...]) -> None:
    """After the last one nothing more is taken."""
    at = Round(asked[:1]).take(RIGHT)
    assert at.present is None
    assert at.take(WRONG) == at
    assert at.skip() == at


@pytest.mark.parametrize(
    ("found", "verdict"),
    [
        (Tally(20, 0, 0, 0), Trust.VOICE),
        (Tally(18, 1, 1, 0), Trust.VOICE),
        (Tally(18, 0, 0, 0), Trust.VOICE),
        (Tally(17, 3, 0, 0), Trust.OFTEN),
        (Tally(0, 10, 10, 0), Trust.OFTEN),
        (Tally(9, 0, 11, 0), Trust.LITTLE),
        (Tally(17, 0, 0, 0), Trust.LITTLE),
        (Tally(0, 0, 0, 0), Trust.LITTLE),
        (Tally(19, 0, 0, 1), Trust.KEYPAD),
        (Tally(0, 0, 0, 1), Trust.KEYPAD),
    ],
)
def test_the_verdict(found: Tally, verdict: Trust) -> None:
    """One silent mistake sends to the keypad; the voice is trusted from eighteen right on."""
    assert trust(found) is verdict


@pytest.mark.parametrize(("calls", "bound"), [(1, 0.95), (20, 0.1391), (59, 0.0495), (299, 0.01)])
def test_no_mistake_is_no_proof(calls: int, bound: float) -> None:
    """The exact bound; 59 and 299 are the usual examples for 5 % and 1 %."""
    assert most_silently_wrong(calls) == pytest.approx(bound, abs=5e-5)
    assert (1 - most_silently_wrong(calls)) ** calls == pytest.approx(0.05)
    with pytest.raises(ValueError, match="bound nothing"):
        most_silently_wrong(0)


def results(*answers: Answer) -> tuple[Result, ...]:
    """Results of one prompt again and again."""
    return tuple(Result(FIFTEEN, each.outcome, each) for each in answers)


def test_the_threshold_lies_above_every_silent_mistake() -> None:
    """And no higher than it has to; doubtful ones need none."""
    assert needed_threshold(results(RIGHT, DOUBTFUL)) is None
    found = results(
        RIGHT, WRONG, replace(WRONG, probability=0.92), replace(RIGHT, probability=0.93)
    )
    threshold = needed_threshold(found)
    assert threshold is not None
    assert 0.95 < threshold <= 0.9502
    assert still_right(found, threshold) == 1
    assert needed_threshold(results(replace(WRONG, probability=1.0))) == 1.0
    assert SURE.stricter(threshold).verdict(WRONG.probability).value == "doubtful"


def done_with(asked: tuple[Prompt, ...], *answers: Answer) -> Round:
    """A round in which these answers came, once each."""
    at = Round(asked, tries=1)
    for each in answers:
        at = at.take(each)
    return at


def test_the_report_tells_what_to_do(asked: tuple[Prompt, ...]) -> None:
    """Plain words for each verdict, with the figures that it rests on."""
    good = report_lines(done_with(asked, *[RIGHT] * 19, DOUBTFUL), SURE)
    assert good[0] == '  "nineteen": heard "fifteen" 70%, doubtful.'
    assert "20 spoken: 19 right at once, 1 doubtful, 0 asked again, 0 silently wrong." in good
    assert "trusted here" in good[-2]
    assert "13.9%" in good[-1]
    bad = report_lines(done_with(asked, WRONG, *[RIGHT] * 19), SURE)
    assert bad[0] == '  "fifteen": heard "fifty" 95%, taken without a doubt.'
    assert "Use the keypad here: 1 of 20" in bad[-2]
    assert "threshold of 95.01% instead of 90.00%" in bad[-1]
    assert "left 19 right at once" in bad[-1]
    near = [*[replace(RIGHT, probability=0.93)] * 12, *[RIGHT] * 7]
    poor = report_lines(done_with(asked, WRONG, *near), SURE)
    assert poor[-1].endswith("left 7 right at once. With so many questions the keypad is quicker.")
    assert "threshold" not in report_lines(done_with(asked, WRONG, *[RIGHT] * 19), None)[-1]
    often = report_lines(done_with(asked, *[DOUBTFUL] * 5, *[RIGHT] * 15), SURE)
    assert "ask often here: 5 of 20" in often[-1]
    short = report_lines(done_with(asked, *[RIGHT] * 3), SURE)
    assert "3 spoken" in short[-2]
    assert "17 left out" in short[-2]
    assert "Not enough was heard" in short[-1]
    again = report_lines(done_with(asked, RIGHT).back().take(RIGHT), SURE)
    assert "1 said again on request" in again[-2]
