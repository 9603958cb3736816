"""How many of something, in words that fit one as well."""


def counted(number: int, one: str, several: str = "") -> str:
    """The number with its noun; `several` where it is not just an "s" more.

    >>> counted(1, "visit"), counted(2, "visit"), counted(1, "entry", "entries")
    ('1 visit', '2 visits', '1 entry')
    """
    return f"{number} {one if number == 1 else several or one + 's'}"
