"""The pronunciation list and the phone numbers."""

from pathlib import Path

import pytest

from capture.recognise.lexicon import LexiconError, parse_lexicon
from capture.recognise.phones import (
    PHONE_COUNT,
    PHONES,
    Position,
    forward_id,
    pdf_id,
    phone_id,
    phone_names,
    phones_text,
    self_loop_id,
    word_boundary_text,
    word_phone_ids,
)

PACK = Path(__file__).parent.parent / "grammars" / "en" / "pronunciations.dict"


def test_variants_keep_their_order_and_comments_are_skipped() -> None:
    """Repeated words are variants; the same variant twice counts once."""
    lexicon = parse_lexicon("; numbers\nfour  F AO R\n\n  ; British\nfour  F AO\nfour F AO R\n")
    assert lexicon.entries == {"four": (("F", "AO", "R"), ("F", "AO"))}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("two  T UW\nfour  F AO1 R", "own.dict, line 2: unknown phone AO1 in four"),
        ("two  t uw", "own.dict, line 1: unknown phone t in two"),
        ("two  T UW\n\nsix", "own.dict, line 3: six has no phones"),
        ("two  SIL T UW", "own.dict, line 1: unknown phone SIL"),
        ("[unk]  AH", "own.dict, line 1: [unk] is a reserved word"),
        ("<eps>  AH", "own.dict, line 1: <eps> is a reserved word"),
        ("; nothing else\n", "own.dict holds no pronunciations"),
    ],
    ids=["stress digit", "small letters", "no phones", "silence", "unk", "eps", "only comments"],
)
def test_a_wrong_line_is_named(text: str, told: str) -> None:
    """The error names the file, the line and what is wrong, and has a hint."""
    with pytest.raises(LexiconError) as raised:
        parse_lexicon(text, "own.dict")
    assert told in raised.value.message
    assert raised.value.hint


def test_every_missing_word_is_named() -> None:
    """One error names all the words that cannot be spoken."""
    lexicon = parse_lexicon("two  T UW", "own.dict")
    with pytest.raises(LexiconError, match=r"own\.dict has no pronunciation for: calf, thigh"):
        lexicon.require(["thigh", "two", "calf"])
    with pytest.raises(LexiconError, match="no pronunciation for: one"):
        lexicon.pronunciations("one")
    assert lexicon.missing(["two"]) == ()


def test_the_english_pack_reads() -> None:
    """The shipped list has the number words, each with phones of the model."""
    lexicon = parse_lexicon(PACK.read_text(encoding="utf-8"), PACK.name)
    lexicon.require(["fifteen", "fifty", "point", "yes", "no", "triceps"])


def test_phone_numbers_fill_their_range_once() -> None:
    """39 phones in four forms and silence take the numbers 1 to 157, without gaps."""
    numbers = [phone_id(phone, place) for phone in PHONES for place in Position]
    assert numbers == list(range(2, PHONE_COUNT + 1))
    assert PHONE_COUNT == 157
    assert len(phone_names()) == PHONE_COUNT


def test_transitions_fill_their_range_once() -> None:
    """Each phone has its own two transitions, the loop before the entry."""
    ids = [make(n) for n in range(1, PHONE_COUNT + 1) for make in (self_loop_id, forward_id)]
    assert ids == list(range(1, 2 * PHONE_COUNT + 1))


def test_forms_of_a_phone_share_one_output() -> None:
    """Silence is output 0, the k-th phone output k, whatever its place in the word."""
    assert pdf_id(1) == 0
    for k, phone in enumerate(PHONES, start=1):
        assert {pdf_id(phone_id(phone, place)) for place in Position} == {k}


def test_places_in_a_word_agree_with_the_tables() -> None:
    """Begin, internal, end and single phones are named so in the decoder's tables."""
    places = dict(line.split() for line in word_boundary_text().splitlines())
    names = {number: name for name, number in map(str.split, phones_text().splitlines())}

    def seen(word: str) -> list[tuple[str, str]]:
        return [(names[str(n)], places[str(n)]) for n in word_phone_ids(tuple(word.split()))]

    assert seen("OW") == [("OW_S", "singleton")]
    assert seen("T UW") == [("T_B", "begin"), ("UW_E", "end")]
    assert seen("S IH K S") == [
        ("S_B", "begin"),
        ("IH_I", "internal"),
        ("K_I", "internal"),
        ("S_E", "end"),
    ]
    assert places["1"] == "nonword"
    assert names["1"] == "SIL"
