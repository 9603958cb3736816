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


Part = tuple[str, int]
"""A word of a spoken value: which one it is ("tens", "unit", "tenth"), and its number."""


def parts(value_tenths_mm: int) -> tuple[Part, ...]:
    """The words that a value is spoken in; below twenty the whole number is one.

    >>> parts(365), parts(130)
    ((('tens', 30), ('unit', 6), ('tenth', 5)), (('unit', 13), ('tenth', 0)))
    """
    whole, tenth = divmod(value_tenths_mm, 10)
    tens = () if whole < 20 else (("tens", whole // 10 * 10),)
    return (*tens, ("unit", whole % 10 if tens else whole), ("tenth", tenth))


def one_part_apart(heard_tenths_mm: int, meant_tenths_mm: int) -> tuple[Part, Part] | None:
    """The only words in which two values differ, heard and meant; None if there is another.

    >>> one_part_apart(360, 460), one_part_apart(365, 460)
    ((('tens', 30), ('tens', 40)), None)
    """
    heard, meant = parts(heard_tenths_mm), parts(meant_tenths_mm)
    if len(heard) != len(meant):
        return None
    apart = [pair for pair in zip(heard, meant, strict=True) if pair[0] != pair[1]]
    return apart[0] if len(apart) == 1 else None


def with_part(value_tenths_mm: int, heard: Part, meant: Part) -> int | None:
    """The value with one word for another, in tenths; None if it cannot be said so.

    >>> with_part(305, ("tens", 30), ("tens", 40)), with_part(505, ("tens", 30), ("tens", 40))
    (405, None)
    """
    if heard not in parts(value_tenths_mm):
        return None
    size = 1 if heard[0] == "tenth" else 10
    other = value_tenths_mm + (meant[1] - heard[1]) * size
    return other if meant in parts(other) else None
