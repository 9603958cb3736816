"""Words that sound like "yes" and are none, said alone while a reading waits for its yes."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from capture.language.grammar import LISTENING
from capture.pack import DECOYS, Pack
from capture.pack_check import faults_of
from capture.recognise.certainty import Verdict, evidence_of
from capture.recognise.contexts import automata, decoding_graphs
from capture.recognise.lexicon import LexiconError, parse_lexicon
from capture.recognise.port import Heard
from capture.recognise.vosk_ import StrictModels, VoskRecogniser
from capture.wiring import default_pack, open_ear

RULE = LISTENING + "readback"
RECORDINGS = Path(__file__).parent / "recordings" / "decoys"
NEAR = ("kiss", "us", "pass", "best", "miss")
PACK = default_pack()


@pytest.fixture(scope="module")
def without() -> StrictModels:
    """The same ear without any decoy."""
    graphs = decoding_graphs(
        automata(PACK.grammar, [RULE]), parse_lexicon(PACK.pronunciations()), decoys=None
    )
    return StrictModels(PACK.model, graphs)


def utterances(recogniser: VoskRecogniser, word: str) -> list[Heard]:
    """What is heard of a recording in a quiet room."""
    samples, rate_hz = soundfile.read(RECORDINGS / f"{word}.flac", dtype="int16")
    assert rate_hz == recogniser.sample_rate_hz
    room = np.random.default_rng(5).normal(0, 8, size=(2, rate_hz)).round().astype("<i2")
    sound = b"".join((room[0].tobytes(), samples.astype("<i2").tobytes(), room[1].tobytes()))
    found = [recogniser.feed(sound[at : at + 3200]) for at in range(0, len(sound), 3200)]
    return [each for each in (*found, recogniser.finish()) if each is not None]


def heard(recogniser: VoskRecogniser, word: str) -> list[str]:
    """The words alone."""
    return [each.text for each in utterances(recogniser, word)]


def taken(recogniser: VoskRecogniser, word: str) -> list[str]:
    """The words that are sure enough to take effect at once."""
    certainty = PACK.certainty()
    assert certainty is not None
    found = [(each.text, evidence_of(each, tuple)) for each in utterances(recogniser, word)]
    return [
        text
        for text, evidence in found
        if evidence is not None
        and certainty.verdict(certainty.probability(evidence), at_once=True) is Verdict.NORMAL
    ]


def test_a_word_near_yes_confirms_nothing(without: StrictModels) -> None:
    """Without the decoys most would be heard as yes; with them one is at most, and not taken."""
    ear = open_ear(PACK, [RULE])
    before = [heard(VoskRecogniser(without, 16_000, RULE), word) for word in NEAR]
    assert before.count(["yes"]) >= 3
    since = [heard(ear.listener(16_000, RULE), word) for word in NEAR]
    assert since.count(["[unk]"]) >= len(NEAR) - 1
    assert not any(taken(ear.listener(16_000, RULE), word) for word in NEAR)


def test_yes_is_still_yes() -> None:
    """By the same voice."""
    assert taken(open_ear(PACK, [RULE]).listener(16_000, RULE), "yes") == ["yes"]


def test_no_decoy_sounds_like_the_answer_itself() -> None:
    """Else it could not be heard any more; nor is any for a word that must not be missed."""
    decoys = parse_lexicon((PACK.folder / DECOYS).read_text(encoding="utf-8"), DECOYS)
    lexicon = parse_lexicon(PACK.pronunciations())
    for answer, spoken in decoys.entries.items():
        assert not set(spoken) & set(lexicon.pronunciations(answer))
    assert not {"no", "stop", "pause"} & set(decoys.entries)


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A copy of the pack's words."""
    for file in PACK.folder.iterdir():
        if file.is_file():
            (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("yes  Y EH S", "Y EH S is 'yes' itself"),
        ("yes  G EH ZZ", f"{DECOYS}, line 1: unknown phone ZZ"),
        ("yes", f"{DECOYS}, line 1: yes has no phones"),
    ],
)
def test_a_wrong_decoy_is_a_fault_of_the_pack(own: Path, line: str, told: str) -> None:
    """Told with the file, and the pack is refused."""
    (own / DECOYS).write_text(line + "\n", encoding="utf-8")
    assert any(told in each.told for each in faults_of(own))


def test_a_pack_without_decoys_has_none(own: Path) -> None:
    """The file need not be there; one that cannot be read is an error."""
    (own / DECOYS).unlink()
    pack = Pack(own, PACK.grammar)
    assert pack.decoys() is None
    (own / DECOYS).write_text("yes  QQ\n", encoding="utf-8")
    with pytest.raises(LexiconError, match=DECOYS):
        pack.decoys()
