"""The recognisers that use vosk. No other module imports it.

`StrictModels(model_dir, graphs)` loads the project's own model once for each context;
`StrictRecogniser(models, sample_rate_hz, context)` listens with them and hears only whole phrases
of the grammar. `PhraseListRecogniser` takes any other Vosk model; there the phrases are only a
preference, fragments and mixtures come out, and the parser must refuse them.

vosk ends the process, without an exception, when it is given a wrong phrase list or a new one in
the middle of an utterance. So phrase lists are made in one place, from checked words, and a
change of context makes a new recogniser instead of changing the old.
"""

import json
import logging
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Protocol

import numpy as np
import vosk

from capture.recognise.acoustic import ModelError
from capture.recognise.ending import CLOSED_S, Quiet, needed_quiet_s
from capture.recognise.graph import DecodingGraph
from capture.recognise.loudness import FRAME_S, LevelLog
from capture.recognise.model_folder import ascii_hint, runtime_folder
from capture.recognise.nbest import LIST_LENGTH, heard_from_nbest
from capture.recognise.port import UNKNOWN, Heard
from capture.recognise.quiet import native_messages

LOWEST_RATE_HZ = 8_000
HIGHEST_RATE_HZ = 384_000
LONGEST_BLOCK_S = CLOSED_S
"""An utterance needs at least this much silence to end, so that a block ends one at most."""

_BYTES_PER_SAMPLE = 2
_SLICE_S = 0.1
_QUIET_S = 0.3
"""Quiet before the first sound and after the last: the network looks a third of a second both
ways, and a word cut tight at its edges is otherwise heard as none."""

_HISS_SEED = 1
"""The quiet is noise of one step of the 16-bit scale: digital zeros occur in no room, and were
measured to cost one quiet digit in twelve."""

_KEPT_S = 1.0
"""Sound heard again after a change of context, so that a word that has just begun stays whole."""

_LOG_WARNINGS_ONLY = -1
_LOG_NOTHING = -3
_MISSING = -1

_log = logging.getLogger(__name__)


class _Decoder(Protocol):
    """The part of vosk.KaldiRecognizer that is used here."""

    def AcceptWaveform(self, data: bytes) -> int: ...  # noqa: N802
    def Result(self) -> str: ...  # noqa: N802
    def PartialResult(self) -> str: ...  # noqa: N802
    def FinalResult(self) -> str: ...  # noqa: N802


class _Model(vosk.Model):  # type: ignore[misc]
    """A vosk model whose failed construction leaves no second error behind."""

    def __del__(self) -> None:
        if getattr(self, "_handle", vosk._ffi.NULL) != vosk._ffi.NULL:
            super().__del__()


def _load(folder: Path) -> _Model:
    """Load one folder quietly; ModelError with the decoder's own reason."""
    failed = False
    with native_messages() as messages:
        vosk.SetLogLevel(_LOG_WARNINGS_ONLY)
        try:
            model = _Model(str(folder))
        except Exception:  # vosk raises nothing more exact
            failed = True
        finally:
            vosk.SetLogLevel(_LOG_NOTHING)
    if messages.text:
        _log.info("model loading said: %s", messages.text.strip())
    if failed:
        reason = messages.reason or "no reason given"
        raise ModelError(
            f"The recogniser cannot load the model: {reason}.",
            ascii_hint(folder) or "Restore the model folder, or name another one.",
        )
    return model


class StrictModels:
    """The project's own model, loaded with the graph of each context.

    ModelError when the folder is incomplete or cannot be loaded. Nothing stays on disk.
    """

    def __init__(self, model_dir: Path, graphs: Mapping[str, DecodingGraph]) -> None:
        if not graphs:
            raise ValueError("no context was given")
        self._models = {}
        self._grammars = {context: graph.grammar for context, graph in graphs.items()}
        for context, graph in graphs.items():
            with runtime_folder(model_dir, graph) as folder:
                self._models[context] = _load(folder)

    @property
    def contexts(self) -> tuple[str, ...]:
        """Names of the contexts."""
        return tuple(self._models)

    def decoder(self, context: str, sample_rate_hz: int) -> _Decoder:
        """A fresh decoder that listens for the phrases of a context."""
        return _new_decoder(self._models[context], sample_rate_hz)

    def needed_quiet_s(self, context: str, words: Sequence[str]) -> float | None:
        """How long a quiet ends a call after these words; None where they are no whole call."""
        return needed_quiet_s(self._grammars[context], words)


class PhraseModels:
    """Any Vosk model that takes phrase lists at run time.

    `phrases` lists the phrases of each context. ModelError when the folder is no such model, or
    names every word that the model does not know; ValueError for an empty list.
    """

    def __init__(self, model_dir: Path, phrases: Mapping[str, Iterable[str]]) -> None:
        if not phrases:
            raise ValueError("no context was given")
        _check_phrase_model(model_dir)
        lists = {context: tuple(dict.fromkeys(listed)) for context, listed in phrases.items()}
        self._model = _load(model_dir)
        words = {word for listed in lists.values() for phrase in listed for word in phrase.split()}
        if missing := sorted(word for word in words if not self._knows(word)):
            raise ModelError(
                f"The model {model_dir.name} does not know: {', '.join(missing)}.",
                "Take another model, or leave these words out of the grammar.",
            )
        extra = (UNKNOWN,) if self._knows(UNKNOWN) else ()
        self._lists = {
            context: phrase_list((*listed, *extra) if listed else ())
            for context, listed in lists.items()
        }

    @property
    def contexts(self) -> tuple[str, ...]:
        """Names of the contexts."""
        return tuple(self._lists)

    def _knows(self, word: str) -> bool:
        return bool(self._model.vosk_model_find_word(word) != _MISSING)

    def decoder(self, context: str, sample_rate_hz: int) -> _Decoder:
        """A fresh decoder that listens for the phrases of a context."""
        return _new_decoder(self._model, sample_rate_hz, self._lists[context])

    def needed_quiet_s(self, context: str, words: Sequence[str]) -> float | None:  # noqa: ARG002
        """None: a list is only a preference, so that the decoder alone says when all is over."""
        return None


def phrase_list(phrases: Iterable[str]) -> str:
    """The one place where a phrase list for vosk is made; ValueError if it would crash vosk.

    >>> phrase_list(["twelve", "no fifty"])
    '["twelve", "no fifty"]'
    """
    listed = list(phrases)
    if not listed:
        raise ValueError("a phrase list must not be empty")
    for phrase in listed:
        if not phrase or phrase != " ".join(phrase.split()) or not phrase.isprintable():
            raise ValueError(f"not a phrase of words with single spaces: {phrase!r}")
    return json.dumps(listed, ensure_ascii=False)


def _check_phrase_model(model_dir: Path) -> None:
    hint = "Name a Vosk model with a run-time graph, such as the small models have."
    if not model_dir.is_dir():
        raise ModelError(f"There is no model folder at {model_dir}.", hint)
    needed = ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/HCLr.fst", "graph/Gr.fst")
    missing = [name for name in needed if not (model_dir / name).is_file()]
    if (model_dir / "graph" / "HCLG.fst").exists():
        raise ModelError(f"The model {model_dir.name} has a fixed graph.", hint)
    if missing:
        raise ModelError(f"The model {model_dir.name} lacks {', '.join(missing)}.", hint)


def _new_decoder(model: _Model, sample_rate_hz: int, phrases: str | None = None) -> _Decoder:
    if phrases is None:
        decoder = vosk.KaldiRecognizer(model, float(sample_rate_hz))
    else:
        decoder = vosk.KaldiRecognizer(model, float(sample_rate_hz), phrases)
    decoder.SetWords(True)
    decoder.SetMaxAlternatives(LIST_LENGTH)
    made: _Decoder = decoder
    return made


class VoskRecogniser:
    """Listens with the models of several contexts, one at a time.

    ValueError for a rate outside 8 000 to 384 000 Hz or an unknown context.
    """

    def __init__(
        self, models: StrictModels | PhraseModels, sample_rate_hz: int, context: str
    ) -> None:
        if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
            raise ValueError(f"cannot listen at {sample_rate_hz} Hz")
        self._models = models
        self._rate_hz = sample_rate_hz
        self._fed = 0
        self._kept = b""
        self._quiet_for = Quiet()
        frame = int(FRAME_S * sample_rate_hz)
        self._frame_bytes = frame * _BYTES_PER_SAMPLE
        self._part_of_frame = b""
        self._levels = LevelLog(frame / sample_rate_hz)
        self._wanted = self._context = context
        self._check(context)
        self._start(b"")

    @property
    def sample_rate_hz(self) -> int:
        """Rate of the audio that `feed` expects."""
        return self._rate_hz

    def listen(self, context: str) -> None:
        """Expect the phrases of this context from the next utterance on."""
        self._check(context)
        self._wanted = context

    def feed(self, block: bytes) -> Heard | None:
        """Take sound; the utterance that ended in it, if it had words.

        ValueError when the block is not whole samples, or longer than `LONGEST_BLOCK_S`.
        """
        if not isinstance(block, bytes) or len(block) % _BYTES_PER_SAMPLE:
            raise ValueError("a block must be bytes of whole 16-bit samples")
        if len(block) > LONGEST_BLOCK_S * self._rate_hz * _BYTES_PER_SAMPLE:
            raise ValueError(f"a block must not be longer than {LONGEST_BLOCK_S} s")
        if self._wanted != self._context and not self._in_a_phrase():
            self._start(self._kept)
        heard = None
        step = int(_SLICE_S * self._rate_hz) * _BYTES_PER_SAMPLE
        # The decoder looks for the end of speech only after each call: short slices find it.
        for at in range(0, len(block), step):
            heard = self._feed_slice(block[at : at + step]) or heard
        return heard

    def finish(self) -> Heard | None:
        """End the input; what was still open, if it had words. Feeding may go on afterwards."""
        ended = self._decoder.AcceptWaveform(self._quiet())
        result = self._decoder.Result() if ended else self._decoder.FinalResult()
        heard = self._heard(result)
        self._start(b"")
        return heard

    def reset(self) -> None:
        """Forget the open utterance and all sound of it."""
        self._levels.forget()
        self._start(b"")

    @property
    def _bytes_per_s(self) -> int:
        return self._rate_hz * _BYTES_PER_SAMPLE

    def _quiet(self) -> bytes:
        samples = np.random.default_rng(_HISS_SEED).normal(size=int(_QUIET_S * self._rate_hz))
        return samples.round().astype("<i2").tobytes()

    def _check(self, context: str) -> None:
        if context not in self._models.contexts:
            raise ValueError(f"unknown context {context!r}")

    def _start(self, heard_again: bytes) -> None:
        """Begin with a fresh decoder, in the context that is wanted now."""
        self._context = self._wanted
        self._quiet_for.begin()
        self._decoder = self._models.decoder(self._context, self._rate_hz)
        self._kept = heard_again
        already = heard_again or self._quiet()
        self._offset_s = self._fed / self._rate_hz - len(already) / self._bytes_per_s
        self._decoder.AcceptWaveform(already)

    def _feed_slice(self, block: bytes) -> Heard | None:
        ended = self._decoder.AcceptWaveform(block)
        self._fed += len(block) // _BYTES_PER_SAMPLE
        most = int(_KEPT_S * self._rate_hz) * _BYTES_PER_SAMPLE
        self._kept = (self._kept + block)[-most:]
        self._follow_level(block)
        if ended:
            heard = self._heard(self._decoder.Result())
            self._kept = b""
            self._quiet_for.begin()
            if self._wanted != self._context:
                self._start(b"")
            return heard
        if not self._is_over():
            return None
        heard = self._heard(self._decoder.FinalResult())
        # What has just been quiet is the room before the next call.
        self._start(self._kept[-int(_QUIET_S * self._rate_hz) * _BYTES_PER_SAMPLE :])
        return heard

    def _follow_level(self, block: bytes) -> None:
        sound = self._part_of_frame + block
        whole = len(sound) // self._frame_bytes * self._frame_bytes
        self._part_of_frame = sound[whole:]
        samples = np.frombuffer(sound[:whole], "<i2").astype(np.float32)
        for power in np.square(samples.reshape(-1, self._frame_bytes // _BYTES_PER_SAMPLE)).mean(1):
            level_db = 10 * math.log10(power + 1)
            self._quiet_for.take(level_db)
            self._levels.take(level_db)

    def _heard(self, result: str) -> Heard | None:
        """What the decoder says, with the levels since the utterance before."""
        heard = heard_from_nbest(result, self._offset_s)
        if heard is not None:
            heard = replace(heard, levels=self._levels.levels())
            self._levels.forget()
        return heard

    def _is_over(self) -> bool:
        """Whether a whole call is followed by so long a quiet that nothing more belongs to it."""
        if self._quiet_for.seconds < CLOSED_S:
            return False
        needed_s = self._models.needed_quiet_s(self._context, self._said())
        return needed_s is not None and self._quiet_for.seconds >= needed_s

    def _said(self) -> list[str]:
        """The words that have been heard so far; they may still change."""
        return str(json.loads(self._decoder.PartialResult()).get("partial", "")).split()

    def _in_a_phrase(self) -> bool:
        """Whether words of the grammar, not only silence or filler, have been heard so far."""
        return any(word != UNKNOWN for word in self._said())


class StrictRecogniser(VoskRecogniser):
    """Hears whole phrases of the grammar, silence, or ``[unk]``."""

    def __init__(self, models: StrictModels, sample_rate_hz: int, context: str) -> None:
        super().__init__(models, sample_rate_hz, context)


class PhraseListRecogniser(VoskRecogniser):
    """Prefers the phrases of a list; other orders of their words may come out too."""

    def __init__(self, models: PhraseModels, sample_rate_hz: int, context: str) -> None:
        super().__init__(models, sample_rate_hz, context)
