"""Numbers that sound alike. Each pair is a question to ask, never a value to pick."""

_TEENS_TO_TENS = {teen: (teen - 10) * 10 for teen in range(13, 20)}
_TENS_TO_TEENS = {tens: teen for teen, tens in _TEENS_TO_TENS.items()}
_FIVE_NINE = {"5": "9", "9": "5"}


def teen_or_ty(value_tenths_mm: int) -> int | None:
    """The other half of a teen/ty pair, in tenths; None if the value is in no such pair.

    Source of the pairs: the usual advice for spoken numbers in clinical reports (13/30 to 19/90).

    >>> teen_or_ty(150), teen_or_ty(505), teen_or_ty(125)
    (500, 155, None)
    """
    whole, tenths = divmod(value_tenths_mm, 10)
    other = _TEENS_TO_TENS.get(whole, _TENS_TO_TEENS.get(whole))
    return None if other is None else other * 10 + tenths


def five_or_nine(value_tenths_mm: int) -> tuple[int, ...]:
    """Every value that differs by one "five" taken for "nine" or the reverse, in tenths.

    >>> five_or_nine(250), five_or_nine(95), five_or_nine(120)
    ((290,), (55, 99), ())
    """
    digits = str(value_tenths_mm)
    return tuple(
        int(digits[:place] + _FIVE_NINE[digit] + digits[place + 1 :])
        for place, digit in enumerate(digits)
        if digit in _FIVE_NINE
    )
