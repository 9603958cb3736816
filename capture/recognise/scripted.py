"""A recogniser that reads from a script instead of listening: for tests and typed sessions."""

from collections.abc import Iterable

from capture.recognise.port import Alternative, Heard, Word

_BYTES_PER_SAMPLE = 2
_WORD_S = 0.4


def spoken(
    text: str, start_s: float = 0.0, confidence: float = 1.0, rivals: Iterable[str] = ()
) -> Heard:
    """An utterance of this text: 0.4 s a word, the rest of the probability shared by the rivals.

    >>> spoken("no fifty").end_s
    0.8
    """
    words = tuple(
        Word(word, start_s + n * _WORD_S, start_s + (n + 1) * _WORD_S, confidence)
        for n, word in enumerate(text.split())
    )
    others = [tuple(rival.split()) for rival in rivals]
    alternatives = tuple(Alternative(rival, (1 - confidence) / len(others)) for rival in others)
    return Heard(words, confidence, alternatives, start_s, start_s + len(words) * _WORD_S)


class ScriptedRecogniser:
    """Hands out prepared utterances, each once the audio fed has reached its end.

    `contexts` holds what `listen` was told, oldest first.
    """

    def __init__(self, script: Iterable[Heard], sample_rate_hz: int = 16_000) -> None:
        self._script = sorted(script, key=lambda heard: heard.end_s)
        self._rate_hz = sample_rate_hz
        self._fed = 0
        self.contexts: list[str] = []

    @property
    def sample_rate_hz(self) -> int:
        """Rate of the audio that `feed` expects."""
        return self._rate_hz

    def listen(self, context: str) -> None:
        """Note the context; the script does not depend on it."""
        self.contexts.append(context)

    def feed(self, block: bytes) -> Heard | None:
        """Count the block as time; the next utterance if it has ended by now."""
        self._fed += len(block) // _BYTES_PER_SAMPLE
        if self._script and self._script[0].end_s <= self._fed / self._rate_hz:
            return self._script.pop(0)
        return None

    def finish(self) -> Heard | None:
        """The next utterance that is left, or None."""
        return self._script.pop(0) if self._script else None

    def reset(self) -> None:
        """Do nothing: a script has no open utterance."""
