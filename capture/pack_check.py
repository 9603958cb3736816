"""Looks a language pack over: everything that `foldcall check` tells about one, all in one go.

What is found in its texts is worked out in `pack_audit`; here its files are read.
"""

import time
from collections.abc import Collection, Iterator
from functools import cache
from pathlib import Path

from capture.errors import CaptureError
from capture.findings import Finding, Mark, guarded
from capture.language.grammar import LISTENING, Grammar
from capture.pack import (
    DECOYS,
    PRONUNCIATIONS,
    Pack,
    certainty_in,
    grammar_texts,
    open_pack,
    text_of,
)
from capture.pack_audit import (
    GRAMMAR,
    failure,
    gap_findings,
    grammar_findings,
    grammar_of,
    listed,
)
from capture.pack_words import (
    SOUND,
    WORDS,
    near_findings,
    near_pairs,
    sound_findings,
    word_findings,
)
from capture.protocol.protocol import PROTOCOLS
from capture.recognise.lexicon import Lexicon, LexiconError, parse_lexicon, read_what_can
from capture.recognise.model_folder import check_model_folder
from capture.sound.bank import BankError, BankIndex, words_of
from capture.sound.clips import open_bank
from capture.units import Inches
from capture.wiring import LANGUAGE, certainty_trouble, default_pack, open_ear
from capture.wording.help import TITLES
from capture.wording.numbers import DIGITS, PLAIN, TAPE, NumberWords

STATE = "reading_wanted"
ANYTHING = "anything"
NEEDED = (
    *(LISTENING + state for state in (*TITLES, ANYTHING)),
    *(PLAIN, DIGITS, TAPE, "foldcall.sites.site"),
)
"""The public rules that the program asks a pack for."""

READINGS_TENTHS_MM = range(5, 1000)
LENGTHS_SIXTEENTHS = range(16, 40 * 16)


def pack_findings(folder: Path, model: Path | None, *, own: bool) -> Iterator[Finding]:
    """What is wrong or missing in the pack in a folder, and what is in order.

    `own`: the pack of a practitioner, who can change it. Then what is only worth knowing is told
    too, and what can be said with the pack of the program but not with this one.
    """
    found = text_findings(folder, own=own)
    yield from found
    usable = not any(each.mark is Mark.FAILED for each in found if each.what != SOUND)
    yield guarded("recogniser", lambda: _recogniser(folder, model, usable=usable))
    yield guarded("doubt", lambda: _doubt(folder, model))
    if own:
        yield _verdict(folder, sum(each.mark is Mark.FAILED for each in found))


def _verdict(folder: Path, faults: int) -> Finding:
    """Whether an own pack is used as it is: see `faults_of`."""
    if not faults:
        return Finding(Mark.OK, "pack", f"{folder} can be used.")
    told = f"{folder} is refused by every command: {faults} faults above."
    hint = f"Mend them; meanwhile '--pack {LANGUAGE}' takes the pack that comes with foldcall."
    return Finding(Mark.FAILED, "pack", told.replace("1 faults", "1 fault"), hint)


def text_findings(folder: Path, *, own: bool) -> tuple[Finding, ...]:
    """What is found in the grammar files and the pronunciations; see `pack_findings`."""
    texts, found = _texts(folder)
    found += grammar_findings(texts, NEEDED, known_sites(), unread=bool(found)) if texts else ()
    lexicon, words = _words(folder, texts, _shipped_spare() if own else frozenset())
    sounds: list[Finding] = []
    heard = 0
    if not any(each.mark is Mark.FAILED for each in found):
        grammar = grammar_of(texts)
        heard = len(grammar.words)
        if own:
            found += gap_findings(grammar, _shipped().grammar)
            found += _unsayable(grammar)
        if own and lexicon is not None:
            pairs = [each for each in near_pairs(grammar, lexicon) if each not in _shipped_near()]
            sounds += [*sound_findings(texts, lexicon), *near_findings(pairs)]
            sounds = _told(sounds, SOUND, "no two phrases of different meaning sound the same.")
    found = _told(found, GRAMMAR, f"{folder.name}: {len(texts)} grammar files.")
    words = _told(words, WORDS, f"all {heard} words can be heard.")
    return tuple(each for each in (*found, *words, *sounds) if own or each.mark is not Mark.NOTE)


def faults_of(folder: Path) -> tuple[Finding, ...]:
    """What keeps a pack from being used: it would be deaf, or could let a wrong value through."""
    texts, found = _texts(folder)
    found += grammar_findings(texts, NEEDED, known_sites(), unread=bool(found)) if texts else ()
    lexicon, words = _words(folder, texts)
    found += words
    if lexicon is not None and not any(each.mark is Mark.FAILED for each in found):
        found += sound_findings(texts, lexicon)
    return tuple(each for each in found if each.mark is Mark.FAILED)


def known_sites() -> frozenset[str]:
    """The sites of all protocols that come with the program."""
    return frozenset(site.id for protocol in PROTOCOLS.values() for site in protocol.sites)


def prompt_gaps(grammar: Grammar, index: BankIndex) -> tuple[str, ...]:
    """The words of values as they are read back that the spoken prompts lack."""
    words = NumberWords(grammar)
    said = [words.read_back(value) for value in READINGS_TENTHS_MM]
    said += [words.length_read_back(Inches(length)) for length in LENGTHS_SIXTEENTHS]
    known = {word for fragment in index.clips for word in fragment}
    found: dict[str, None] = {}
    for text in dict.fromkeys(said):
        try:
            index.steps(text)
        except BankError:
            unknown = [word for word in words_of(text) if word not in known]
            found |= dict.fromkeys(unknown or [f"'{text}'"])
    return tuple(found)


def prompts_finding(folder: Path) -> Finding:
    """Whether a pack's spoken prompts have all that is read back. Raises BankError."""
    bank = open_bank(folder / "prompts")
    told = f"bank of {len(set(bank.index.clips.values()))} prompts ({bank.index.voice})."
    try:
        missing = prompt_gaps(open_pack(folder).grammar, bank.index)
    except CaptureError:
        # What is wrong with the grammar has its own lines.
        missing = ()
    if missing:
        told = f"the spoken prompts lack {listed(missing)}: what holds such a word is a tone."
        hint = "The screen shows it; 'voice = \"system\"' in the settings speaks it."
        return Finding(Mark.NOTE, "voice", told, hint, needed=False)
    return Finding(Mark.OK, "voice", told, needed=False)


def _texts(folder: Path) -> tuple[dict[str, str], list[Finding]]:
    try:
        found = grammar_texts(folder)
    except CaptureError as error:
        return {}, [failure(GRAMMAR, error)]
    texts = {name: text for name, text in found.items() if isinstance(text, str)}
    faults = [failure(GRAMMAR, each) for each in found.values() if isinstance(each, CaptureError)]
    return texts, faults


@cache
def _shipped() -> Pack:
    """The program's own pack."""
    return default_pack()


@cache
def _shipped_spare() -> frozenset[str]:
    """Words of the program's own pack that none of its rules uses; a copy has them too."""
    shipped = _shipped()
    return frozenset(parse_lexicon(shipped.pronunciations()).entries) - shipped.grammar.words


@cache
def _shipped_near() -> tuple[tuple[str, str], ...]:
    """The pairs that are known from the program's own pack."""
    shipped = _shipped()
    return near_pairs(shipped.grammar, parse_lexicon(shipped.pronunciations()))


def _words(
    folder: Path, texts: dict[str, str], spare: Collection[str] = ()
) -> tuple[Lexicon | None, list[Finding]]:
    try:
        lexicon, faults = read_what_can(text_of(folder / PRONUNCIATIONS), PRONUNCIATIONS)
    except CaptureError as error:
        return None, [failure(WORDS, error)]
    return lexicon, [
        *(failure(WORDS, each) for each in faults),
        *word_findings(texts, lexicon, spare),
        *(failure(WORDS, each) for each in _decoy_faults(folder, lexicon)),
    ]


def _decoy_faults(folder: Path, lexicon: Lexicon) -> Iterator[CaptureError]:
    """What is wrong with the words that sound like an answer; a pack need not have any."""
    if not (folder / DECOYS).exists():
        return
    try:
        decoys, faults = read_what_can(text_of(folder / DECOYS), DECOYS)
    except CaptureError as error:
        yield error
        return
    yield from faults
    for answer, spoken in decoys.entries.items():
        for phones in set(spoken) & set(lexicon.entries.get(answer, ())):
            yield LexiconError(
                f"{DECOYS}: {' '.join(phones)} is '{answer}' itself, which would be deaf.",
                "Remove the line.",
            )


def _told(found: list[Finding], what: str, fine: str) -> list[Finding]:
    """The findings, after the line that all is well where nothing failed."""
    well = [] if any(each.mark is Mark.FAILED for each in found) else [Finding(Mark.OK, what, fine)]
    return [*well, *found]


def _unsayable(grammar: Grammar) -> Iterator[Finding]:
    missing = NumberWords(grammar).unsayable(READINGS_TENTHS_MM)
    if missing:
        some = listed([f"{each / 10:g}" for each in missing])
        told = f"{len(missing)} readings have no words, such as {some}."
        hint = "They have to be keyed; add them to the rules <plain_number> and <digit_number>."
        yield Finding(Mark.NOTE, GRAMMAR, told, hint, needed=False)


def _recogniser(folder: Path, model: Path | None, *, usable: bool) -> Finding:
    place = model or folder / "model"
    if not usable:
        if model is None:
            check_model_folder(place)
        return Finding(Mark.NOTE, "recogniser", f"{place} was not tried: see above.", needed=False)
    started = time.perf_counter()
    rule = LISTENING + STATE
    ear = open_ear(open_pack(folder), [rule], model=model)
    # Some sound shows that it runs, not only that its files are there.
    listener = ear.listener(16_000, rule)
    listener.feed(bytes(2 * 1_600))
    listener.finish()
    took_s = time.perf_counter() - started
    return Finding(Mark.OK, "recogniser", f"{place} is loaded in {took_s:.1f} s.")


def _doubt(folder: Path, model: Path | None) -> Finding:
    trouble = certainty_trouble(folder, model)
    if trouble is not None:
        told = f"{trouble.message} More calls than needed are asked about."
        return Finding(Mark.NOTE, "doubt", told, trouble.hint, needed=False)
    certainty = None if model is not None else certainty_in(folder)
    if certainty is None:
        told = "not measured for this model; more calls than needed are asked about."
        hint = "Measure it: python -m tests.bench.speech --fit."
        return Finding(Mark.NOTE, "doubt", told, hint, needed=False)
    told = (
        f"usual from {certainty.normal_from:.1%}, asked again below {certainty.again_below:.0%}, "
        f"yes from {certainty.sure_from:.1%}."
    )
    return Finding(Mark.OK, "doubt", told)
