"""Numbers that sound alike."""

from capture.language.confusable import five_or_nine, teen_or_ty

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
