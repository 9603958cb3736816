"""From the decoder's list of best phrases to what was heard."""

import json
import math

import pytest

from capture.recognise.nbest import heard_from_nbest


def answer(*phrases: tuple[str, float]) -> str:
    """A decoder's answer: phrases with their scores, 0.3 s a word."""
    return json.dumps(
        {
            "alternatives": [
                {
                    "text": text,
                    "confidence": score,
                    "result": [
                        {"word": word, "start": 0.3 * n, "end": 0.3 * (n + 1)}
                        for n, word in enumerate(text.split())
                    ],
                }
                for text, score in phrases
            ]
        }
    )


def test_scores_become_shares() -> None:
    """A rival whose score is ln 3 lower has a third of the winner's share."""
    heard = heard_from_nbest(answer(("fifty", 100.0), ("fifteen", 100.0 - math.log(3))))
    assert heard is not None
    assert heard.text == "fifty"
    assert heard.confidence == pytest.approx(0.75)
    assert [(rival.text, rival.confidence) for rival in heard.alternatives] == [
        ("fifteen", pytest.approx(0.25))
    ]


def test_a_word_that_all_rivals_share_is_sure() -> None:
    """In "six point four" against "six point five", only the last word is in doubt."""
    heard = heard_from_nbest(answer(("six point four", -5.0), ("six point five", -5.0)))
    assert heard is not None
    assert [word.confidence for word in heard.words] == pytest.approx([1.0, 1.0, 0.5])


def test_times_are_shifted() -> None:
    """Word times count from the beginning of listening, not of the utterance."""
    heard = heard_from_nbest(answer(("no fifty", 1.0)), offset_s=10.0)
    assert heard is not None
    assert (heard.start_s, heard.end_s) == pytest.approx((10.0, 10.6))
    assert [word.start_s for word in heard.words] == pytest.approx([10.0, 10.3])


def test_the_score_is_told_for_each_second() -> None:
    """How well the winner fits the sound: 300 over two words of 0.3 s."""
    heard = heard_from_nbest(answer(("no fifty", 300.0), ("no fifteen", 290.0)))
    assert heard is not None
    assert heard.score_per_s == pytest.approx(500.0)


def test_filler_runs_are_one_unknown_word() -> None:
    """Runs of unknown sounds of different lengths count together, as a single word."""
    heard = heard_from_nbest(
        answer(("[unk] [unk]", 0.0), ("six", 0.0), ("[unk] [unk] [unk]", 0.0), ("[unk]", 0.0))
    )
    assert heard is not None
    assert [word.text for word in heard.words] == ["[unk]"]
    assert heard.confidence == pytest.approx(0.75)
    assert heard.words[0].end_s == pytest.approx(0.6)
    assert [rival.text for rival in heard.alternatives] == ["six"]


def test_many_weak_readings_can_outweigh_the_first() -> None:
    """The largest share wins, also when it is spread over several entries of the list."""
    heard = heard_from_nbest(answer(("six", 0.0), ("[unk]", -0.1), ("[unk] [unk]", -0.1)))
    assert heard is not None
    assert heard.text == "[unk]"


@pytest.mark.parametrize(
    "document",
    [
        '{"alternatives": [{"text": "", "confidence": 1.0}]}',
        '{"alternatives": []}',
        "{}",
        answer(("", 5.0), ("fifty", 4.0)),
        '{"alternatives": [{"text": "six", "confidence": -inf}]}',
        '{"alternatives": [{"text": "six", "confidence": nan}]}',
    ],
    ids=["silence", "no entry", "empty", "silence first", "infinite", "not a number"],
)
def test_nothing_is_heard(document: str) -> None:
    """Silence, an empty answer or a phrase without a score is no utterance."""
    assert heard_from_nbest(document) is None


def test_a_phrase_without_a_score_is_left_out() -> None:
    """An entry whose score is not a number does not spoil the others."""
    document = answer(("fifty", 5.0), ("six", 4.0)).replace("4.0", "-inf")
    heard = heard_from_nbest(document)
    assert heard is not None
    assert (heard.text, heard.confidence, heard.alternatives) == ("fifty", 1.0, ())


def test_silence_can_be_the_rival() -> None:
    """When the runner-up is silence, it is listed as a phrase without words."""
    heard = heard_from_nbest(answer(("six", 5.0), ("", 5.0 - math.log(4))))
    assert heard is not None
    assert [(rival.words, rival.confidence) for rival in heard.alternatives] == [
        ((), pytest.approx(0.2))
    ]
