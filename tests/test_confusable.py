"""Numbers that sound alike."""

from capture.language.confusable import five_or_nine, one_part_apart, parts, teen_or_ty, with_part

SCALE = range(5, 1000)

# Nursing advice on spoken doses, c. 2021: "one-five" for 15, heard as 50; the same for all teens.
PAIRS = {13: 30, 14: 40, 15: 50, 16: 60, 17: 70, 18: 80, 19: 90}


def test_every_teen_has_its_ty_and_the_reverse() -> None:
    """13/30 to 19/90, with the same tenth, are asked about both ways; nothing else is."""
    both = PAIRS | {ty: teen for teen, ty in PAIRS.items()}
    for value in SCALE:
        whole, tenth = divmod(value, 10)
        expected = both[whole] * 10 + tenth if whole in both else None
        assert teen_or_ty(value) == expected


def test_five_and_nine_are_exchanged_one_at_a_time() -> None:
    """Each other value differs in just one digit, and that is a five for a nine."""
    for value in SCALE:
        others = five_or_nine(value)
        assert len(others) == sum(digit in "59" for digit in str(value))
        for other in others:
            assert len(str(other)) == len(str(value))
            changed = [{a, b} for a, b in zip(str(value), str(other), strict=True) if a != b]
            assert changed == [{"5", "9"}]


def test_sounding_alike_goes_both_ways() -> None:
    """If fifty could be fifteen, fifteen could be fifty."""
    for value in SCALE:
        other = teen_or_ty(value)
        assert other is None or teen_or_ty(other) == value
        assert all(value in five_or_nine(each) for each in five_or_nine(value))


def test_the_words_of_a_value_make_it_up_again() -> None:
    """Tens, unit and tenth add up to the value, and no two values have the same words."""
    said = {value: parts(value) for value in SCALE}
    assert len(set(said.values())) == len(SCALE)
    for value, words in said.items():
        assert sum(number * (1 if name == "tenth" else 10) for name, number in words) == value


def test_one_word_apart_goes_both_ways() -> None:
    """Where one word is all that differs, exchanging it gives the other value, and back."""
    for value in range(5, 1000, 7):
        for other in range(5, 1000, 11):
            apart = one_part_apart(value, other)
            if apart is None:
                continue
            heard, meant = apart
            assert value != other
            assert with_part(value, heard, meant) == other
            assert with_part(other, meant, heard) == value


def test_a_word_is_not_exchanged_for_one_that_cannot_stand_there() -> None:
    """Six for fifteen, learned from 6 and 15, says nothing of 36: nobody says "thirty fifteen"."""
    six, fifteen = ("unit", 6), ("unit", 15)
    assert one_part_apart(60, 150) == (six, fifteen)
    assert with_part(360, six, fifteen) is None
    assert with_part(200, six, fifteen) is None
