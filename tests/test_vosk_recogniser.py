"""The strict recogniser with real vosk and a model whose right answers are known.

The model is not trained but computed: each phone is a tone in one of the 40 mel bands. The
network undoes Kaldi's cosine transform, so that the score of phone k is the level of band k, and
silence wins when every band is low. A word is then "spoken" as a row of tones.
"""

import json
import math
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest

from capture.recognise.acoustic import ModelError
from capture.recognise.automaton import WordArc, WordAutomaton
from capture.recognise.contexts import OPEN_END_COST
from capture.recognise.ending import CLOSED_S, OPEN_S
from capture.recognise.graph import GraphOptions, build_graph
from capture.recognise.lexicon import parse_lexicon
from capture.recognise.loudness import CLEAREST_DB, FRAME_S, loudness
from capture.recognise.model_folder import write_model_folder
from capture.recognise.phones import PHONES
from capture.recognise.port import Heard
from capture.recognise.vosk_ import (
    PhraseListRecogniser,
    PhraseModels,
    StrictModels,
    StrictRecogniser,
    phrase_list,
)

RATE_HZ = 16_000
BANDS = 40
LIFTER = 22  # Kaldi's default --cepstral-lifter
LEXICON = parse_lexicon(
    """
    fifteen  F IH F T IY N
    fifty  F IH F T IY
    six  S IH K S
    point  P OY N T
    no  N OW
    yes  Y EH S
    """
)
SPOKEN = {word: variants[0] for word, variants in LEXICON.entries.items()}


def band_centre_hz(band: int) -> float:
    """Centre of a mel band between 40 and 7 600 Hz, as Kaldi computes it (1127 ln(1 + f/700))."""
    low, high = (1127 * math.log(1 + f / 700) for f in (40, 7600))
    return 700 * (math.exp((low + (band + 1) * (high - low) / (BANDS + 1)) / 1127) - 1)


def tone_network() -> dict[str, np.ndarray]:
    """The arrays of a network that scores phone k by the level of band k."""
    k, n = np.arange(BANDS)[:, None], np.arange(BANDS)[None, :]
    cosines = np.sqrt(2 / BANDS) * np.cos(np.pi / BANDS * (n + 0.5) * k)
    cosines[0] = np.sqrt(1 / BANDS)
    lifter = 1 + LIFTER / 2 * np.sin(np.pi * np.arange(BANDS) / LIFTER)
    levels_from_cepstra = cosines.T / lifter[None, :]
    levels_from_cepstra[0] = 0.0  # band 0 makes room for silence
    threshold = np.full(BANDS, -14.0)
    threshold[0] = 0.0
    return {
        "count": np.array(1),
        "offsets_0": np.array([0]),
        "weight_0": levels_from_cepstra.astype("f4"),
        "bias_0": threshold.astype("f4"),
        "relu_0": np.array(0),
    }


def tones(text: str, phone_s: float = 0.12, rate_hz: int = RATE_HZ) -> np.ndarray:
    """The words as rows of tones, 0.2 s of silence between words."""
    time_s = np.arange(int(phone_s * rate_hz)) / rate_hz
    gap = np.zeros(int(0.2 * rate_hz))
    pieces = []
    for word in text.split():
        for phone in SPOKEN[word]:
            band = 1 + PHONES.index(phone)
            pieces.append(6000 * np.sin(2 * np.pi * band_centre_hz(band) * time_s))
        pieces.append(gap)
    return np.concatenate(pieces[:-1])


def quiet(seconds: float, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Digital silence."""
    return np.zeros(int(seconds * rate_hz))


def as_bytes(*pieces: np.ndarray) -> bytes:
    """The pieces one after the other, as 16-bit sound."""
    return np.concatenate(pieces).astype("<i2").tobytes()


def phrases(*texts: str) -> WordAutomaton:
    """Exactly these phrases."""
    arcs, finals, state = [], {}, 0
    for text in texts:
        source = 0
        for word in text.split():
            state += 1
            arcs.append(WordArc(source, word, 0.0, state))
            source = state
        finals[source] = 0.0
    return WordAutomaton(0, finals, arcs)


@pytest.fixture(scope="module")
def model_dir(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tone model as a shipped folder."""
    folder = tmp_path_factory.mktemp("tones")
    np.savez(folder / "acoustic.npz", **tone_network())
    write_model_folder(folder / "acoustic.npz", folder / "model")
    return folder / "model"


@pytest.fixture(scope="module")
def models(model_dir: Path) -> StrictModels:
    """The tone model with two contexts and a filler."""
    options = GraphOptions(filler_cost=4.0)
    contexts = {
        "numbers": phrases("fifteen", "fifty", "fifty point six", "six"),
        "answers": phrases("yes", "no fifty", "no"),
    }
    graphs = {name: build_graph(made, LEXICON, options) for name, made in contexts.items()}
    return StrictModels(model_dir, graphs)


def heard_in(
    recogniser: StrictRecogniser, sound: bytes, block_s: float = 0.1, end: bool = True
) -> list[Heard]:
    """Everything heard when the sound is fed in blocks."""
    step = 2 * int(block_s * recogniser.sample_rate_hz)
    found = [recogniser.feed(sound[at : at + step]) for at in range(0, len(sound), step)]
    if end:
        found.append(recogniser.finish())
    return [heard for heard in found if heard is not None]


def texts(found: Sequence[Heard]) -> list[str]:
    """Only the words of what was heard."""
    return [heard.text for heard in found]


@pytest.mark.parametrize("text", ["fifteen", "fifty", "six", "fifty point six"])
def test_a_phrase_of_the_grammar_is_heard(models: StrictModels, text: str) -> None:
    """What is said within the grammar comes out word for word, with a probability near one."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    found = heard_in(recogniser, as_bytes(quiet(0.4), tones(text), quiet(1.0)))
    assert texts(found) == [text]
    assert 0.9 < found[0].confidence <= 1.0


@pytest.mark.parametrize(
    ("rate_hz", "text"),
    [
        (8_000, "no"),  # the tones of the other words lie above what 8 000 Hz can hold
        (16_000, "no fifty"),
        (22_050, "no fifty"),
        (44_100, "no fifty"),
        (48_000, "no fifty"),
    ],
)
def test_any_rate_is_heard_when_it_is_named(models: StrictModels, rate_hz: int, text: str) -> None:
    """A recording is heard at the rate it was made with."""
    recogniser = StrictRecogniser(models, rate_hz, "answers")
    sound = as_bytes(quiet(0.4, rate_hz), tones(text, rate_hz=rate_hz), quiet(1.0, rate_hz))
    assert texts(heard_in(recogniser, sound)) == [text]


def test_times_count_all_audio_fed(models: StrictModels) -> None:
    """The place of a word is right in the second call and after a change of context."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    first = heard_in(recogniser, as_bytes(quiet(0.5), tones("six"), quiet(1.51)), end=False)
    recogniser.listen("answers")
    second = heard_in(recogniser, as_bytes(tones("yes"), quiet(1.0)), end=False)
    recogniser.listen("numbers")
    third = heard_in(recogniser, as_bytes(tones("fifty"), quiet(0.5)))
    six_ends_s = 0.5 + 4 * 0.12
    yes_starts_s = six_ends_s + 1.51
    fifty_starts_s = yes_starts_s + 3 * 0.12 + 1.0
    assert texts(first + second + third) == ["six", "yes", "fifty"]
    assert first[0].start_s == pytest.approx(0.5, abs=0.06)
    assert first[0].end_s == pytest.approx(six_ends_s, abs=0.06)
    assert second[0].start_s == pytest.approx(yes_starts_s, abs=0.06)
    assert third[0].start_s == pytest.approx(fifty_starts_s, abs=0.06)
    assert third[0].end_s == pytest.approx(fifty_starts_s + 5 * 0.12, abs=0.06)


@pytest.mark.parametrize("rate_hz", [16_000, 22_050, 48_000])
@pytest.mark.parametrize("block_s", [0.0123, 0.1, 0.35])
def test_levels_lie_where_the_words_are(models: StrictModels, rate_hz: int, block_s: float) -> None:
    """At any rate and in blocks of any length; those of an utterance start after the one before."""
    recogniser = StrictRecogniser(models, rate_hz, "answers")
    call = as_bytes(tones("no fifty", rate_hz=rate_hz), quiet(1.2, rate_hz))
    sound = as_bytes(quiet(0.5, rate_hz)) + call + call
    size = 2 * int(block_s * rate_hz)
    found = [recogniser.feed(sound[at : at + size]) for at in range(0, len(sound), size)]
    first, second = [heard for heard in [*found, recogniser.finish()] if heard is not None]
    for heard in (first, second):
        assert heard.levels is not None
        told = loudness([(word.start_s, word.end_s) for word in heard.words], heard.levels)
        assert told.first_below_db < 3
        assert (told.clear_db, told.left_out_s) == (CLEAREST_DB, 0)
        loud = [level > 50 for level in heard.levels.decibels]
        begins_s = heard.levels.start_s + FRAME_S * loud.index(True)
        assert begins_s == pytest.approx(heard.start_s, abs=0.06)
    assert second.levels is not None
    assert second.levels.start_s > first.end_s


def test_levels_keep_their_place_through_a_long_visit(models: StrictModels) -> None:
    """Frames at 11 025 Hz are not quite two hundredths of a second: it would show in minutes."""
    recogniser = StrictRecogniser(models, 11_025, "answers")
    lead_s = 120.0
    sound = as_bytes(quiet(lead_s, 11_025), tones("no", rate_hz=11_025), quiet(1.2, 11_025))
    (heard,) = heard_in(recogniser, sound)
    assert heard.levels is not None
    loud = [level > 50 for level in heard.levels.decibels]
    begins_s = heard.levels.start_s + FRAME_S * loud.index(True)
    assert begins_s == pytest.approx(lead_s, abs=0.1)
    assert heard.start_s == pytest.approx(lead_s, abs=0.1)


def test_a_call_that_has_begun_is_heard_out(models: StrictModels) -> None:
    """Changing the context in the middle of a phrase does not cut the phrase."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    sound = as_bytes(quiet(0.3), tones("fifty point six"), quiet(1.0))
    middle = 2 * int(1.2 * RATE_HZ)
    before = heard_in(recogniser, sound[:middle], end=False)
    recogniser.listen("answers")
    after = heard_in(recogniser, sound[middle:], end=False)
    later = heard_in(recogniser, as_bytes(tones("yes"), quiet(1.0)))
    assert texts(before + after + later) == ["fifty point six", "yes"]


@pytest.mark.parametrize(
    ("used", "later_s"), [(0, 0.09), (1, 0.0), (2, -0.09)], ids=["before", "now", "after"]
)
def test_offsets_are_taken_in_their_order(tmp_path: Path, used: int, later_s: float) -> None:
    """A network that looks 90 ms back hears everything 90 ms later, and the reverse."""
    arrays = tone_network()
    one = arrays["weight_0"]
    arrays["offsets_0"] = np.array([-9, 0, 9])
    arrays["weight_0"] = np.hstack([one if n == used else 0 * one for n in range(3)])
    np.savez(tmp_path / "acoustic.npz", **arrays)
    write_model_folder(tmp_path / "acoustic.npz", tmp_path / "model")
    models = StrictModels(tmp_path / "model", {"all": build_graph(phrases("six"), LEXICON)})
    recogniser = StrictRecogniser(models, RATE_HZ, "all")
    (heard,) = heard_in(recogniser, as_bytes(quiet(0.6), tones("six"), quiet(1.0)))
    assert heard.start_s == pytest.approx(0.6 + later_s, abs=0.04)


def test_a_network_of_two_layers_is_cut_off_at_zero(tmp_path: Path) -> None:
    """Levels below zero do not pass the first layer; the second sees the rest."""
    arrays = tone_network()
    np.savez(
        tmp_path / "acoustic.npz",
        count=np.array(2),
        offsets_0=np.array([0]),
        weight_0=arrays["weight_0"],
        bias_0=arrays["bias_0"],
        relu_0=np.array(1),
        offsets_1=np.array([0]),
        weight_1=np.eye(BANDS, dtype="f4"),
        # Without the cut-off, faint bands would lie far below silence; with it, one below.
        bias_1=np.array([0.0] + [-1.0] * (BANDS - 1), "f4"),
        relu_1=np.array(0),
    )
    write_model_folder(tmp_path / "acoustic.npz", tmp_path / "model")
    models = StrictModels(tmp_path / "model", {"all": build_graph(phrases("six", "no"), LEXICON)})
    recogniser = StrictRecogniser(models, RATE_HZ, "all")
    (heard,) = heard_in(recogniser, as_bytes(quiet(0.6), tones("six"), quiet(1.0)))
    assert heard.text == "six"


def test_a_context_chosen_in_silence_holds_at_once(models: StrictModels) -> None:
    """A change of context while nobody speaks holds for the very next word, whole."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    heard_in(recogniser, as_bytes(quiet(2.0)), end=False)
    recogniser.listen("answers")
    assert texts(heard_in(recogniser, as_bytes(tones("no"), quiet(0.8)))) == ["no"]


@pytest.mark.parametrize(
    "text", ["yes", "point six", "six six", "fifty point", "no fifteen"], ids=lambda t: t
)
def test_speech_outside_the_grammar_is_unknown(models: StrictModels, text: str) -> None:
    """Other words, halves and mixtures of phrases never come out as a phrase of the grammar."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    found = heard_in(recogniser, as_bytes(quiet(0.4), tones(text), quiet(1.2)))
    assert texts(found) == ["[unk]"]


def test_silence_is_nothing(models: StrictModels) -> None:
    """Twelve seconds of silence give no utterance at all."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    assert heard_in(recogniser, as_bytes(quiet(12.0))) == []


def test_the_runner_up_has_its_share(models: StrictModels) -> None:
    """When the last sound of fifteen is faint, fifty is named as the rival, and shares add up."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    faint = tones("fifteen")
    last = len(faint) - int(0.12 * RATE_HZ)
    shares = []
    for level in (1.0, 0.003, 0.001):
        sound = np.concatenate([faint[:last], level * faint[last:]])
        found = heard_in(recogniser, as_bytes(quiet(0.3), sound, quiet(1.0)))
        (heard,) = found
        total = heard.confidence + sum(rival.confidence for rival in heard.alternatives)
        assert total == pytest.approx(1.0, abs=0.02)
        assert heard.text not in {rival.text for rival in heard.alternatives}
        by_text = {rival.text: rival.confidence for rival in heard.alternatives}
        by_text[heard.text] = heard.confidence
        shares.append(by_text.get("fifty", 0.0))
    assert shares == sorted(shares)
    assert shares[0] < 0.1
    assert shares[-1] > 0.1


def test_reset_forgets_what_was_open(models: StrictModels) -> None:
    """What was said before a reset does not come out afterwards."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    heard_in(recogniser, as_bytes(tones("fifteen")), end=False)
    recogniser.reset()
    found = heard_in(recogniser, as_bytes(quiet(0.3), tones("six"), quiet(0.8)))
    assert texts(found) == ["six"]
    assert found[0].start_s == pytest.approx(len(tones("fifteen")) / RATE_HZ + 0.3, abs=0.06)


def test_the_last_call_of_a_recording_is_not_lost(models: StrictModels) -> None:
    """A recording that stops right after the word still gives the word."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    assert texts(heard_in(recogniser, as_bytes(quiet(0.3), tones("fifty")))) == ["fifty"]
    assert recogniser.finish() is None


def test_endless_babble_is_cut(models: StrictModels) -> None:
    """Sound without any pause comes out in parts, none of them a phrase of the grammar."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    row = tones("yes")
    found = heard_in(recogniser, as_bytes(*[row] * int(25 * RATE_HZ / len(row))), end=False)
    assert len(found) >= 2
    assert set(texts(found)) == {"[unk]"}


@pytest.mark.parametrize("block_s", [0.01, 0.064, 0.2, 0.4])
def test_block_length_does_not_matter(models: StrictModels, block_s: float) -> None:
    """Two calls come out as two, however the sound is cut into blocks."""
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    sound = as_bytes(quiet(0.3), tones("six"), quiet(1.0), tones("fifty"), quiet(1.0))
    assert texts(heard_in(recogniser, sound, block_s)) == ["six", "fifty"]


@pytest.mark.parametrize(
    ("text", "least_s", "most_s"),
    [("six", CLOSED_S, CLOSED_S + 0.06), ("fifty", OPEN_S, OPEN_S + 0.06)],
    ids=["closed", "may go on"],
)
def test_the_quiet_after_a_call_ends_it(
    model_dir: Path, text: str, least_s: float, most_s: float
) -> None:
    """Sooner after a call that nothing can follow; counted in sound, not in time."""
    grammar = phrases("fifty", "fifty point six", "six")
    graph = build_graph(grammar, LEXICON, GraphOptions(open_end_cost=OPEN_END_COST))
    models = StrictModels(model_dir, {"numbers": graph})
    recogniser = StrictRecogniser(models, RATE_HZ, "numbers")
    block = 2 * int(0.02 * RATE_HZ)
    spoken = as_bytes(quiet(0.4), tones(text))
    assert not heard_in(recogniser, spoken, 0.02, end=False)
    silence = as_bytes(quiet(1.5))
    answers = [recogniser.feed(silence[at : at + block]) for at in range(0, len(silence), block)]
    found = [(number, heard) for number, heard in enumerate(answers, 1) if heard is not None]
    assert [heard.text for _, heard in found] == [text]
    assert least_s <= found[0][0] * 0.02 <= most_s


@pytest.mark.parametrize("block", [b"\0", bytes(2 * RATE_HZ), bytearray(2)], ids=repr)
def test_unfit_blocks_are_refused(models: StrictModels, block: bytes) -> None:
    """Half a sample, a second at once, or another kind of buffer never reaches the decoder."""
    with pytest.raises(ValueError, match="block"):
        StrictRecogniser(models, RATE_HZ, "numbers").feed(block)


def test_an_empty_block_is_harmless(models: StrictModels) -> None:
    """No sound is no utterance."""
    assert StrictRecogniser(models, RATE_HZ, "numbers").feed(b"") is None


def test_unknown_contexts_and_rates_are_refused(models: StrictModels) -> None:
    """A context that has no graph, or telephone-below rates, are mistakes of the caller."""
    with pytest.raises(ValueError, match="context"):
        StrictRecogniser(models, RATE_HZ, "elsewhere")
    with pytest.raises(ValueError, match="context"):
        StrictRecogniser(models, RATE_HZ, "numbers").listen("elsewhere")
    with pytest.raises(ValueError, match="Hz"):
        StrictRecogniser(models, 4_000, "numbers")


@pytest.mark.parametrize("priors", [False, True], ids=["scores", "priors"])
@pytest.mark.parametrize("filler_cost", [None, 2.0], ids=["strict", "filler"])
def test_noise_gives_only_phrases_of_the_grammar(
    tmp_path: Path, priors: bool, filler_cost: float | None
) -> None:
    """With weights drawn at random, noise still comes out as a whole phrase or as unknown."""
    # Silence, score 0, is made unlikely: otherwise it wins everywhere.
    draw = np.random.default_rng(7)
    arrays: dict[str, np.ndarray] = {"count": np.array(2)}
    for n, (offsets, wide, out) in enumerate([((-3, 0, 3), 40, 32), ((-1, 0, 1), 32, 40)]):
        weight = draw.normal(size=(out, wide * len(offsets))) / (20 if n == 0 else 3)
        arrays |= {
            f"offsets_{n}": np.array(offsets),
            f"weight_{n}": weight.astype("f4"),
            f"bias_{n}": draw.normal(size=out).astype("f4") - 8 * n * (np.arange(out) == 0),
            f"relu_{n}": np.array(int(n == 0)),
        }
    if priors:
        arrays["priors"] = np.full(40, 1 / 40, "f4")
    np.savez(tmp_path / "acoustic.npz", **arrays)
    write_model_folder(tmp_path / "acoustic.npz", tmp_path / "model")
    allowed = {"fifteen", "fifty point six", "no"}
    graph = build_graph(phrases(*allowed), LEXICON, GraphOptions(filler_cost=filler_cost))
    models = StrictModels(tmp_path / "model", {"all": graph})
    recogniser = StrictRecogniser(models, RATE_HZ, "all")
    found = []
    for level in (30, 3000, 12_000):
        found += heard_in(recogniser, as_bytes(draw.normal(size=6 * RATE_HZ) * level))
    assert found
    assert set(texts(found)) <= allowed | ({"[unk]"} if filler_cost is not None else set())


def test_the_decoder_is_silent(model_dir: Path, tmp_path: Path) -> None:
    """Loading and listening print nothing on the screen, not even past Python's streams."""
    script = tmp_path / "listen.py"
    script.write_text(
        "import sys\n"
        "from pathlib import Path\n"
        "from capture.recognise.automaton import WordArc, WordAutomaton\n"
        "from capture.recognise.graph import build_graph\n"
        "from capture.recognise.lexicon import parse_lexicon\n"
        "from capture.recognise.vosk_ import StrictModels, StrictRecogniser\n"
        "graph = build_graph(WordAutomaton(0, {1: 0.0}, [WordArc(0, 'no', 0.0, 1)]),\n"
        "                    parse_lexicon('no  N OW'))\n"
        f"models = StrictModels(Path({str(model_dir)!r}), {{'a': graph}})\n"
        "recogniser = StrictRecogniser(models, 16000, 'a')\n"
        "recogniser.feed(bytes(3200))\n"
        "print(recogniser.finish())\n",
        encoding="utf-8",
    )
    done = subprocess.run(
        [sys.executable, str(script)],
        capture_output=True,
        check=True,
        cwd=Path(__file__).parent.parent,
        env={"PYTHONPATH": str(Path(__file__).parent.parent)},
        timeout=120,
    )
    assert (done.stdout.decode().split(), done.stderr) == (["None"], b"")


def test_what_the_decoder_refuses_is_one_error_with_its_reason(
    model_dir: Path, tmp_path: Path
) -> None:
    """When the decoder cannot load the files, the error tells what it said."""
    folder = tmp_path / "model"
    shutil.copytree(model_dir, folder)
    with (folder / "conf" / "model.conf").open("a", encoding="utf-8") as options:
        options.write("--no-such-option=1\n")
    with pytest.raises(ModelError, match="cannot load the model") as raised:
        StrictModels(folder, {"all": build_graph(phrases("no"), LEXICON)})
    assert "no-such-option" in raised.value.message
    assert raised.value.hint


# A model for phrase lists, made of the same tones -------------------------------------------------


def run_time_model(model_dir: Path, target: Path) -> Path:
    """A model folder of the kind that takes phrase lists: a loop over the words of LEXICON."""
    words = sorted(SPOKEN)
    start = len(words)  # state number of the loop
    loop = WordAutomaton(start, {start: 0.0}, [WordArc(start, word, 0.0, start) for word in words])
    graph = build_graph(loop, LEXICON)
    for name in ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf"):
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        (target / name).write_bytes((model_dir / name).read_bytes())
    (target / "graph" / "phones").mkdir(parents=True)
    # The decoder composes this graph with the list: output labels must be sorted in each state.
    from capture.recognise.fst import FstArc, fst_bytes

    arcs = sorted(graph.arcs, key=lambda arc: (arc.source, arc.output))
    (target / "graph" / "HCLr.fst").write_bytes(fst_bytes(graph.start, arcs, graph.finals))
    grammar = [FstArc(0, n, n, 0.0, 0) for n in range(1, len(words) + 1)]
    (target / "graph" / "Gr.fst").write_bytes(fst_bytes(0, grammar, {0: 0.0}))
    (target / "graph" / "disambig_tid.int").write_text("400\n")
    (target / "graph" / "words.txt").write_text(graph.words_text())
    return target


def test_a_phrase_list_model_hears_listed_phrases(model_dir: Path, tmp_path: Path) -> None:
    """Another model hears the phrases of the list, and follows a change of context."""
    folder = run_time_model(model_dir, tmp_path / "other")
    listed: Mapping[str, list[str]] = {"numbers": ["fifty point six", "six"], "answers": ["yes"]}
    recogniser = PhraseListRecogniser(PhraseModels(folder, listed), RATE_HZ, "numbers")
    sound = as_bytes(quiet(0.3), tones("fifty point six"), quiet(1.2))
    first = heard_in(recogniser, sound, end=False)
    recogniser.listen("answers")
    second = heard_in(recogniser, as_bytes(tones("yes"), quiet(1.0)))
    assert texts(first + second) == ["fifty point six", "yes"]


def test_all_words_that_a_model_lacks_are_named_at_once(model_dir: Path, tmp_path: Path) -> None:
    """The error for a model without our words names each of them."""
    folder = run_time_model(model_dir, tmp_path / "other")
    with pytest.raises(ModelError, match="does not know: suprailiac, triceps"):
        PhraseModels(folder, {"all": ["triceps six", "suprailiac"]})


def test_a_folder_that_is_no_phrase_list_model_is_refused(model_dir: Path, tmp_path: Path) -> None:
    """The shipped folder has no run-time graph; a missing folder is no model either."""
    with pytest.raises(ModelError, match=r"HCLr\.fst"):
        PhraseModels(model_dir, {"all": ["six"]})
    with pytest.raises(ModelError, match="no model folder"):
        PhraseModels(tmp_path / "none", {"all": ["six"]})


@pytest.mark.parametrize("wrong", [[], [""], ["two  words"], [" six"], ["six\n"]], ids=repr)
def test_phrase_lists_that_would_end_the_process_are_refused(wrong: list[str]) -> None:
    """An empty list or an unclean phrase never reaches vosk."""
    with pytest.raises(ValueError, match="phrase"):
        phrase_list(wrong)


def test_a_phrase_list_is_json() -> None:
    """The list reads back as the phrases."""
    assert json.loads(phrase_list(["no fifty", "[unk]"])) == ["no fifty", "[unk]"]
