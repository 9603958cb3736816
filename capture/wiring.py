"""Puts the edges together for the commands: pack, model, recogniser, store.

Only this module, the commands and `cli` may import more than one edge.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from capture.errors import CaptureError
from capture.language.automaton import Automaton
from capture.pack import Pack, certainty_in, open_pack
from capture.recognise.certainty import Certainty
from capture.recognise.contexts import automata, decoding_graphs, phrases
from capture.recognise.lexicon import parse_lexicon
from capture.recognise.vosk_ import PhraseModels, StrictModels, VoskRecogniser
from capture.resources import data_folder
from capture.signing import result_at_sign_off, signs_off
from capture.store import Store
from capture.visit.entry import Entry
from capture.visit.state import Plan

LANGUAGE = "en"


def default_folder() -> Path:
    """Where the language pack lies that comes with the package."""
    return data_folder("grammars") / LANGUAGE


def default_pack() -> Pack:
    """The language pack that comes with the package."""
    return open_pack(default_folder())


@dataclass(frozen=True, slots=True)
class Ear:
    """Loaded models, ready to listen to sound of any rate."""

    models: StrictModels | PhraseModels

    def listener(self, rate_hz: int, rule: str) -> VoskRecogniser:
        """A recogniser for sound of this rate that begins by listening for a rule."""
        return VoskRecogniser(self.models, rate_hz, rule)


def open_ear(
    pack: Pack,
    rules: Collection[str],
    sites: Collection[str] | None = None,
    model: Path | None = None,
) -> Ear:
    """Load the pack's own model with a strict graph for each rule.

    `model` names another Vosk model to use instead, through its list of phrases. Raises
    ModelError or LexiconError for a model or lexicon that cannot be used.
    """
    heard: Mapping[str, Automaton] = automata(pack.grammar, rules, sites)
    if model is not None:
        return Ear(PhraseModels(model, phrases(heard)))
    lexicon = parse_lexicon(pack.pronunciations())
    return Ear(StrictModels(pack.model, decoding_graphs(heard, lexicon, decoys=pack.decoys())))


def certainty_of(pack: Pack, model: Path | None = None) -> Certainty | None:
    """What tells how probable it is that a call was heard right; None where nothing was measured.

    It was measured with the pack's own model and says nothing about another. A file that cannot
    be used is like none: the careful limits hold, and `certainty_trouble` tells why.
    """
    return certainty_at(pack.folder, model)


def certainty_at(folder: Path, model: Path | None = None) -> Certainty | None:
    """The certainty of the pack in a folder, as `certainty_of`."""
    if model is not None:
        return None
    try:
        return certainty_in(folder)
    except CaptureError:
        return None


def certainty_trouble(folder: Path, model: Path | None = None) -> CaptureError | None:
    """Why the certainty of a pack cannot be used; None where it can, or where there is none."""
    try:
        if model is None:
            certainty_in(folder)
    except CaptureError as error:
        return error
    return None


@dataclass(frozen=True, slots=True)
class StoredJournal:
    """The journal of one visit in the store."""

    store: Store
    visit_id: str

    def append(self, entry: Entry) -> None:
        """Add one entry durably; a sign-off together with what the readings come to."""
        result = None
        if signs_off(entry):
            row, before = self.store.visit(self.visit_id), self.store.entries(self.visit_id)
            plan = Plan.from_plain(row.plan)
            result = result_at_sign_off(plan, [*before, entry], row.client.choices)
        self.store.append(self.visit_id, entry, result)


def local_time() -> str:
    """The present time as ISO 8601 with offset, to the millisecond."""
    return datetime.now().astimezone().isoformat(timespec="milliseconds")


Write = Callable[[str], None]
"""Takes one line of output."""
