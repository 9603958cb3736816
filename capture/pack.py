"""A language pack on disk: its grammar files, pronunciations and model, read at one door."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from capture.errors import CaptureError
from capture.language.grammar import Grammar
from capture.language.tree import GrammarError
from capture.recognise.certainty import Certainty, parse_certainty
from capture.recognise.lexicon import Lexicon, parse_lexicon

PRONUNCIATIONS = "pronunciations.dict"
DECOYS = "decoys.dict"
CERTAINTY = "certainty.toml"


@dataclass(frozen=True, slots=True)
class Pack:
    """An opened language pack; `folder` holds `*.gram`, `pronunciations.dict` and `model/`."""

    folder: Path
    grammar: Grammar

    def pronunciations(self) -> str:
        """The text of the file with every word's pronunciations."""
        return text_of(self.folder / PRONUNCIATIONS)

    def decoys(self) -> Lexicon | None:
        """How words are spoken that could be taken for an answer, by that answer; None: no file.

        Raises LexiconError or CaptureError for a file that cannot be used.
        """
        file = self.folder / DECOYS
        return parse_lexicon(text_of(file), DECOYS) if file.exists() else None

    def certainty(self) -> Certainty | None:
        """How probable it is that the pack's model heard right; None if that was not measured.

        Raises CertaintyError or CaptureError for a file that cannot be used.
        """
        return certainty_in(self.folder)

    @property
    def model(self) -> Path:
        """The folder of the pack's own acoustic model."""
        return self.folder / "model"


def open_pack(folder: Path) -> Pack:
    """Read all grammar files of a pack.

    Raises GrammarError for a file that cannot be used, CaptureError if there is none.
    """
    texts = grammar_texts(folder)
    for text in texts.values():
        if isinstance(text, CaptureError):
            raise text
    return Pack(folder, _grammar(tuple((name, str(text)) for name, text in texts.items())))


@lru_cache(maxsize=4)
def _grammar(texts: tuple[tuple[str, str], ...]) -> Grammar:
    """The grammar of these texts, the same one each time, with all that it has worked out.

    A check opens its pack several times.
    """
    return Grammar(dict(texts))


def grammar_texts(folder: Path) -> dict[str, str | CaptureError]:
    """The grammar files of a pack by name: the text of each, or why it cannot be read.

    Raises CaptureError if there is none.
    """
    files = sorted(folder.glob("*.gram")) if folder.is_dir() else []
    if not files:
        raise CaptureError(
            f"There is no language pack in {folder}: it holds no *.gram file.",
            "Name a folder that 'foldcall phrases --copy' made.",
        )
    found: dict[str, str | CaptureError] = {}
    for file in files:
        try:
            found[file.name] = text_of(file)
        except CaptureError as error:
            found[file.name] = error
    return found


def certainty_in(folder: Path) -> Certainty | None:
    """What a pack's certainty.toml says, None where there is none.

    Raises CertaintyError or CaptureError for a file that cannot be used.
    """
    file = folder / CERTAINTY
    return parse_certainty(text_of(file)) if file.exists() else None


def text_of(file: Path) -> str:
    """The text of one of a pack's files. Raises CaptureError if it cannot be read."""
    try:
        return file.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise GrammarError(
            f"{file.name}: byte {error.start} is not UTF-8 text.", "Save the file as UTF-8."
        ) from error
    except OSError as error:
        raise CaptureError(
            f"The language pack's file {file.name} cannot be read: {error.strerror}.",
            "Check the file and its permissions.",
        ) from error
