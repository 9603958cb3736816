"""The English pack's grammar: every sentence has one meaning, and what it lacks is refused."""

from collections import Counter
from collections.abc import Iterable

import pytest

from capture.language.automaton import Automaton
from capture.language.grammar import LISTENING, Grammar, Parser, understand
from capture.language.intents import (
    Caution,
    Choose,
    Confirm,
    Correct,
    Extra,
    Finish,
    GoTo,
    Intent,
    JawsOn,
    Later,
    Note,
    NotUnderstood,
    Option,
    Pause,
    Reading,
    Ready,
    Refuse,
    Repeat,
    Resume,
    SetCloth,
    SetFold,
    SetOffset,
    SetSide,
    SignOff,
    Skip,
    SkipReason,
    Stop,
    TakeNote,
    Undo,
    WhyNot,
    Wiped,
    kind_of,
)
from capture.language.jsgf import GrammarError
from capture.language.meaning import intent_from
from capture.protocol.sites import Fold, Side

HEADER = "#JSGF V1.0 UTF-8 en;\n"

INTENDED_RULES = (
    "commands.confirm", "commands.refuse", "commands.grant", "commands.deny", "commands.undo",
    "commands.repeat", "commands.pause", "commands.resume", "commands.go_to",
    "commands.sign_off", "commands.skip", "commands.stop", "commands.choose", "commands.note",
    "commands.ready", "commands.wiped", "commands.setup", "commands.finish", "commands.extra",
    "commands.later", "commands.jaws_on", "commands.take_note",
    "readings.reading", "readings.correction",
    "readings.wrong_reading", "readings.wrong_correction", "readings.late_rest",
    "readings.site_reading", "readings.wrong_site_reading",
    "tape.tape", "tape.tape_correction",
    "listening.preparation", "listening.permission", "listening.tape_wanted",
    "listening.tape_readback",
    "listening.reading_wanted", "listening.readback", "listening.readback_through",
    "listening.closing", "listening.noting", "listening.paused",
    "listening.anything",
)  # fmt: skip
"""Rules whose sentences are whole calls."""

HUGE = {
    "readings.reading", "readings.wrong_reading", "readings.site_reading",
    "readings.wrong_site_reading", "listening.readback_through", "tape.tape",
    "listening.tape_wanted",
    "listening.reading_wanted", "listening.anything",
}  # fmt: skip

PARTS = (
    "numbers.plain_whole", "numbers.digit_whole", "numbers.plain_number",
    "numbers.digit_number", "numbers.small_number",
    "numbers.number", "numbers.lost_point", "numbers.fragment",
    "sites.site", "tape.length",
)  # fmt: skip
"""Public rules whose sentences are parts of calls: they have slots, but no intent."""

CONFIRM: dict[str, Intent] = {"yes": Confirm(), "confirm": Confirm()}
REFUSE: dict[str, Intent] = {"no": Refuse()}
UNDO: dict[str, Intent] = {"undo": Undo()}
REPEAT: dict[str, Intent] = {"repeat": Repeat(), "say again": Repeat()}
PAUSE: dict[str, Intent] = {"pause": Pause()}
SKIP: dict[str, Intent] = {
    "skip refused": Skip(SkipReason.REFUSED),
    "skip too thick": Skip(SkipReason.TOO_THICK),
    "skip injury": Skip(SkipReason.INJURY),
    "skip skin": Skip(SkipReason.SKIN),
    "skip unable": Skip(SkipReason.UNABLE),
}
SPOKEN_SITES = {
    "chest": "chest",
    "pectoral": "chest",
    "midaxillary": "midaxillary",
    "axilla": "midaxillary",
    "triceps": "triceps",
    "subscapular": "subscapular",
    "shoulder blade": "subscapular",
    "abdominal": "abdominal",
    "abdomen": "abdominal",
    "suprailiac": "suprailiac",
    "thigh": "thigh",
    "biceps": "biceps",
    "iliac crest": "iliac_crest",
    "supraspinale": "supraspinale",
    "calf": "calf",
    "medial calf": "calf",
}
GO_TO: dict[str, Intent] = {f"go to {said}": GoTo(site) for said, site in SPOKEN_SITES.items()}
SIGN_OFF: dict[str, Intent] = {"sign off": SignOff()}
GRANT: dict[str, Intent] = {"yes": Confirm(), "granted": Confirm()}
DENY: dict[str, Intent] = {"no": Refuse(), "refused": Refuse()}
RESUME: dict[str, Intent] = {"resume": Resume()}

STOP: dict[str, Intent] = {
    "stop": Stop(),
    "stop clothing": Stop("clothing"),
    "stop marks": Stop("marks"),
    "stop touch": Stop("touch"),
}
CHOOSE: dict[str, Intent] = {
    "fewer sites": Choose(Option.FEWER_SITES),
    "through clothing": Choose(Option.THROUGH_CLOTHING),
    "client locates": Choose(Option.CLIENT_LOCATES),
    "chaperone": Choose(Option.CHAPERONE),
    "other assessor": Choose(Option.OTHER_ASSESSOR),
    "another assessor": Choose(Option.OTHER_ASSESSOR),
    "air displacement": Choose(Option.AIR_DISPLACEMENT),
    "underwater weighing": Choose(Option.UNDERWATER_WEIGHING),
    "impedance": Choose(Option.IMPEDANCE),
    "postpone": Choose(Option.POSTPONE),
}
NOTE: dict[str, Intent] = {
    "caution exercise": Note(Caution.EXERCISE),
    "caution hot skin": Note(Caution.HOT_SKIN),
    "caution wet skin": Note(Caution.WET_SKIN),
    "caution lotion": Note(Caution.LOTION),
    "caution pregnancy": Note(Caution.PREGNANCY),
    "caution swelling": Note(Caution.OEDEMA),
    "caution too thick": Note(Caution.TOO_THICK),
    "caution skin condition": Note(Caution.SKIN),
    "caution recent scan": Note(Caution.SCAN),
    "caution surgery": Note(Caution.SURGERY),
}
READY: dict[str, Intent] = {"ready": Ready()}
WIPED: dict[str, Intent] = {"caliper wiped": Wiped()}
EXTRA: dict[str, Intent] = {f"extra {said}": Extra(site) for said, site in SPOKEN_SITES.items()}
FINISH: dict[str, Intent] = {"finish early": Finish()}
LATER: dict[str, Intent] = {"later": Later()}
JAWS_ON: dict[str, Intent] = {"holding": JawsOn()}
TAKE_NOTE: dict[str, Intent] = {"make a note": TakeNote()}

WHOLE_RULES: dict[str, dict[str, Intent]] = {
    "commands.confirm": CONFIRM,
    "commands.refuse": REFUSE,
    "commands.grant": GRANT,
    "commands.deny": DENY,
    "commands.undo": UNDO,
    "commands.repeat": REPEAT,
    "commands.pause": PAUSE,
    "commands.resume": RESUME,
    "commands.go_to": GO_TO,
    "commands.sign_off": SIGN_OFF,
    "commands.skip": SKIP,
    "commands.stop": STOP,
    "commands.choose": CHOOSE,
    "commands.note": NOTE,
    "commands.ready": READY,
    "commands.wiped": WIPED,
    "commands.finish": FINISH,
    "commands.extra": EXTRA,
    "commands.later": LATER,
    "commands.jaws_on": JAWS_ON,
    "commands.take_note": TAKE_NOTE,
    "listening.preparation": (
        READY | CONFIRM | REFUSE | STOP | CHOOSE | NOTE | WIPED | UNDO | REPEAT | PAUSE
    ),
    "listening.permission": GRANT | DENY | STOP | CHOOSE | NOTE | WIPED | UNDO | REPEAT | PAUSE,
    "listening.closing": (
        SIGN_OFF | CHOOSE | EXTRA | NOTE | WIPED | STOP | UNDO | REPEAT | PAUSE | TAKE_NOTE
    ),
    "listening.noting": UNDO | STOP,
    "listening.paused": RESUME | STOP,
}


def full(rule: str) -> str:
    """The full name of a rule of the pack."""
    return f"foldcall.{rule}"


def few_sites(grammar: Grammar, rule: str) -> Automaton:
    """The rule with the sites left that have two names and names of two words.

    All sites by all names are walked in `test_a_site_before_a_reading_changes_nothing_else`.
    """
    made = grammar.automaton(full(rule))
    return made.restricted("site", {"subscapular"}) if rule in HUGE else made


def meant(made: Automaton) -> dict[str, Intent | NotUnderstood]:
    """Every sentence with what it is understood as."""
    parser = Parser(made)
    return {" ".join(words): understand(parser, words) for words, _ in made.sentences()}


@pytest.mark.parametrize("rule", WHOLE_RULES)
def test_a_small_rule_has_these_sentences_and_no_other(grammar: Grammar, rule: str) -> None:
    """What may be said by this rule is exactly this, and means this."""
    assert meant(grammar.automaton(full(rule))) == WHOLE_RULES[rule]


SETUP = "set_cloth set_fold set_offset set_side"
STATES = {
    "preparation": "choose confirm note pause ready refuse repeat stop undo wiped",
    "permission": "choose confirm note pause refuse repeat stop undo wiped",
    "tape_wanted": "finish pause repeat skip stop take_note tape undo",
    "tape_readback": "confirm correct_tape refuse repeat stop undo",
    "reading_wanted": "finish go_to jaws_on later not_understood pause reading repeat skip stop"
    f" take_note undo {SETUP}",
    "readback": "confirm correct not_understood refuse repeat skip stop undo",
    "readback_through": "confirm correct go_to jaws_on not_understood reading refuse repeat skip"
    " stop undo",
    "closing": "choose extra note pause repeat sign_off stop take_note undo wiped",
    "noting": "stop undo",
    "paused": "resume stop",
    "anything": "choose confirm correct extra finish go_to jaws_on later not_understood note pause"
    f" reading ready refuse repeat resume sign_off skip stop take_note undo wiped {SETUP}",
}
"""The kinds of calls that each state listens for. "Not understood" stands for the wrong forms of
a number, which are listened for so that they can be refused."""


def test_how_a_site_is_measured_is_called_so(grammar: Grammar) -> None:
    """Fold, side, cloth in millimetres to the tenth, offset in centimetres to the millimetre."""
    found = meant(grammar.automaton(full("commands.setup")))
    assert {said: found[said] for said in found if "cloth" not in said and "off" not in said} == {
        "fold vertical": SetFold(Fold.VERTICAL),
        "fold horizontal": SetFold(Fold.HORIZONTAL),
        "fold diagonal": SetFold(Fold.DIAGONAL),
        "left side": SetSide(Side.LEFT),
        "right side": SetSide(Side.RIGHT),
        "bare skin": SetCloth(0),
    }
    cloth = {
        value.cloth_tenths_mm
        for said, value in found.items()
        if isinstance(value, SetCloth) and said.startswith("cloth ")
    }
    assert cloth == set(range(100))
    assert found["cloth one point five"] == SetCloth(15)
    assert found["offset two point five"] == SetOffset(25)


@pytest.mark.parametrize(("state", "kinds"), STATES.items(), ids=STATES.keys())
def test_each_state_listens_for_these_calls_only(grammar: Grammar, state: str, kinds: str) -> None:
    """A value at a read-back needs its "no"; a yes means nothing where nothing waits."""
    made = few_sites(grammar, f"listening.{state}")
    found = {kind_of(intent_from(slots)) for _, slots in made.sentences()}
    assert found == set(kinds.split())


def test_every_site_by_all_its_names(grammar: Grammar) -> None:
    """A site is called by these names and no other; none that two sites could share."""
    found = grammar.automaton(full("sites.site")).sentences()
    assert {" ".join(words): slots["site"] for words, slots in found} == SPOKEN_SITES


def test_every_public_rule_is_tested(grammar: Grammar) -> None:
    """A rule that is added to the pack must be added here."""
    assert sorted(grammar.rules) == sorted(full(rule) for rule in (*INTENDED_RULES, *PARTS))


@pytest.mark.parametrize("rule", [*INTENDED_RULES, *PARTS])
def test_every_sentence_parses_back_to_its_one_meaning(grammar: Grammar, rule: str) -> None:
    """Whatever a rule can generate is parsed whole, to what its own tags say, and only to that."""
    made = few_sites(grammar, rule)
    parser = Parser(made)
    sentences = list(made.sentences())
    assert sentences
    for words, slots in sentences:
        # `slots` raises where a phrase has two meanings, `intent_from` where it has none.
        assert parser.slots(words) == slots, words
        if rule in INTENDED_RULES:
            intent_from(slots)


@pytest.mark.parametrize("rule", [*INTENDED_RULES, *PARTS])
def test_no_sentence_is_longer_than_what_is_walked(grammar: Grammar, rule: str) -> None:
    """The walk over all sentences leaves out none for its length."""
    made = grammar.automaton(full(rule))
    onward: dict[int, list[tuple[int, int]]] = {}
    for arc in made.arcs:
        onward.setdefault(arc.source, []).append((arc.target, arc.word is not None))
    depths: dict[int, int] = {}

    def longest(state: int) -> int:
        if state not in depths:
            depths[state] = max(
                (longest(to) + word for to, word in onward.get(state, ())), default=0
            )
        return depths[state]

    assert longest(made.start) <= 8


@pytest.mark.parametrize("rule", INTENDED_RULES)
def test_no_beginning_of_a_call_is_another_call_by_accident(grammar: Grammar, rule: str) -> None:
    """A call that is cut off is called unfinished, or it is a shorter call of the same rule."""
    made = few_sites(grammar, rule)
    parser = Parser(made)
    sentences = {words for words, _ in made.sentences()}
    for beginning in {words[:-1] for words in sentences if len(words) > 1} - sentences:
        found = understand(parser, beginning)
        assert isinstance(found, NotUnderstood)
        assert found.why is WhyNot.UNFINISHED


def test_readings_and_corrections_are_built_alike(grammar: Grammar) -> None:
    """A correction takes every number that a reading takes, after "no" or "correction"."""
    bare = grammar.automaton(full("readings.reading")).restricted("site", ())
    readings = {
        words: value.value_tenths_mm
        for words, value in meant(bare).items()
        if isinstance(value, Reading)
    }
    corrections = {
        words: value.value_tenths_mm
        for words, value in meant(grammar.automaton(full("readings.correction"))).items()
        if isinstance(value, Correct)
    }
    assert corrections == {
        f"{no} {words}": value for words, value in readings.items() for no in ("no", "correction")
    }


def test_a_site_before_a_reading_changes_nothing_else(grammar: Grammar) -> None:
    """Each reading may follow each name of each site."""
    bare, named = {}, Counter[str]()
    everything = meant(grammar.automaton(full("readings.reading")))
    for words, value in everything.items():
        if isinstance(value, Reading) and value.site is None:
            bare[words] = value.value_tenths_mm
    for words, value in everything.items():
        if isinstance(value, Reading) and value.site is not None:
            said = next(
                each for each in sorted(SPOKEN_SITES, key=len) if words.startswith(f"{each} ")
            )
            assert value == Reading(bare[words.removeprefix(f"{said} ")], SPOKEN_SITES[said])
            named[said] += 1
    assert set(named) == set(SPOKEN_SITES)
    assert set(named.values()) == {len(bare)}


REFUSED_CALLS = {
    "twelve point": WhyNot.UNFINISHED,
    "twelve and": WhyNot.UNFINISHED,
    "twelve and a": WhyNot.UNFINISHED,
    "chest": WhyNot.UNFINISHED,
    "shoulder": WhyNot.UNFINISHED,
    "go to": WhyNot.UNFINISHED,
    "skip": WhyNot.UNFINISHED,
    "skip too": WhyNot.UNFINISHED,
    "fifty fifteen": WhyNot.TWO_NUMBERS,
    "five twelve": WhyNot.TWO_NUMBERS,
    "twelve twelve point five": WhyNot.TWO_NUMBERS,
    "twelve point five two": WhyNot.TOO_FINE,
    "one two point five five": WhyNot.TOO_FINE,
    "twelve point fifteen": WhyNot.NOT_A_CALL,
    "twelve point point five": WhyNot.NOT_A_CALL,
    "chest thigh twelve": WhyNot.NOT_A_CALL,
    "twelve chest": WhyNot.NOT_A_CALL,
    "yes": WhyNot.NOT_A_CALL,
    "yes twelve": WhyNot.NOT_A_CALL,
    "no twelve": WhyNot.NOT_A_CALL,
    "resume": WhyNot.NOT_A_CALL,
    "sign off": WhyNot.NOT_A_CALL,
    "undo undo": WhyNot.NOT_A_CALL,
    "the weather is fine": WhyNot.NOT_A_CALL,
}


@pytest.mark.parametrize(("said", "why"), REFUSED_CALLS.items(), ids=REFUSED_CALLS.keys())
def test_what_is_no_call_is_refused_by_name(grammar: Grammar, said: str, why: WhyNot) -> None:
    """While a reading is wanted, this is not taken, and the assessor is told what is wrong."""
    parser = grammar.parser(LISTENING + "reading_wanted")
    answer = understand(parser, said.split())
    assert isinstance(answer, NotUnderstood)
    assert answer.why is why


def test_the_word_at_fault_is_named(grammar: Grammar) -> None:
    """A word that no rule knows is told, for the journal."""
    parser = grammar.parser(LISTENING + "reading_wanted")
    assert understand(parser, ["twelve", "banana"]) == NotUnderstood(WhyNot.NOT_A_CALL, "banana")


def test_sites_outside_the_protocol_are_no_words(grammar: Grammar) -> None:
    """With the seven sites, "calf twelve" is no call; "thigh twelve" is one."""
    parser = grammar.parser(LISTENING + "reading_wanted", {"thigh"})
    assert understand(parser, ["calf", "twelve"]) == NotUnderstood(WhyNot.NOT_A_CALL, "calf")
    assert understand(parser, ["thigh", "twelve"]) == Reading(120, "thigh")


def pack_of(*bodies: str) -> Grammar:
    """A pack of small files, named 1.gram, 2.gram and so on."""
    return Grammar({f"{n}.gram": HEADER + body for n, body in enumerate(bodies, 1)})


IMPORT_MISTAKES: dict[str, tuple[tuple[str, ...], str, str]] = {
    "a private rule": (
        ("grammar a;\n<x> = y;", "grammar b;\nimport <a.x>;"),
        "2.gram:3:1",
        "the grammar a has no public rule <x>",
    ),
    "an unknown rule": (
        ("grammar a;\npublic <x> = y;", "grammar b;\nimport <a.z>;"),
        "2.gram:3:1",
        "the grammar a has no public rule <z>",
    ),
    "a rule of an unknown grammar": (
        ("grammar b;\nimport <a.x>;",),
        "1.gram:3:1",
        "there is no grammar a",
    ),
    "all of an unknown grammar": (
        ("grammar b;\nimport <a.*>;",),
        "1.gram:3:1",
        "there is no grammar a",
    ),
    "a rule that is not imported": (
        ("grammar a;\npublic <x> = y;", "grammar b;\npublic <z> =\n  w [<x>];"),
        "2.gram:4:6",
        "there is no rule <x> here",
    ),
    "a private rule behind a star": (
        ("grammar a;\n<x> = y;", "grammar b;\nimport <a.*>;\npublic <z> = <x>;"),
        "2.gram:4:14",
        "there is no rule <x> here",
    ),
    "one grammar in two files": (
        ("grammar a;\n<x> = y;", "grammar a;\n<z> = y;"),
        "2.gram:1:1",
        "the grammar a is defined by two files",
    ),
}


@pytest.mark.parametrize(
    ("bodies", "place", "said"), IMPORT_MISTAKES.values(), ids=IMPORT_MISTAKES.keys()
)
def test_a_wrong_import_is_told_with_its_place(
    bodies: tuple[str, ...], place: str, said: str
) -> None:
    """The author of a pack is told which file asks for something that is not there."""
    with pytest.raises(GrammarError) as caught:
        pack_of(*bodies)
    assert caught.value.message.startswith(f"{place}: ")
    assert said in caught.value.message


def texts(grammar: Grammar, rule: str) -> Iterable[str]:
    """The sentences of a rule, each as one line."""
    return [" ".join(words) for words, _ in grammar.automaton(rule).sentences()]


def test_imports_of_one_rule_and_of_all() -> None:
    """A file may use what it imports; its own rule goes before an imported one of that name."""
    made = pack_of(
        "grammar a;\npublic <x> = x;\npublic <y> = y;",
        "grammar b;\nimport <a.*>;\n<y> = mine;\npublic <z> = <x> <y>;",
        "grammar c;\nimport <b.z>;\npublic <w> = <z> end;",
    )
    assert texts(made, "c.w") == ["x mine end"]
    assert made.rules == ("a.x", "a.y", "b.z", "c.w")
    assert made.words == {"x", "y", "mine", "end"}


def test_a_private_rule_cannot_be_asked_for() -> None:
    """Only public rules are listened for."""
    with pytest.raises(KeyError):
        pack_of("grammar a;\n<x> = y;").automaton("a.x")


def test_a_phrase_with_two_meanings_is_the_packs_fault() -> None:
    """A pack in which one phrase means two things is refused when the phrase is parsed."""
    made = pack_of("grammar a;\npublic <x> = ten {n = 10} | ten {n = 2};")
    with pytest.raises(GrammarError, match="'ten' has two meanings"):
        made.parser("a.x").slots(["ten"])
