"""Letters and digits large enough to be read across a room. Pure.

Each sign is a small picture of five rows. It is drawn with full blocks, enlarged by whole
numbers, or with half blocks, two rows of the picture in one line of the screen.
"""

ROWS = 5

_PICTURES = {
    "A": ".##. #..# #### #..# #..#",
    "B": "###. #..# ###. #..# ###.",
    "C": ".### #... #... #... .###",
    "D": "###. #..# #..# #..# ###.",
    "E": "#### #... ###. #... ####",
    "F": "#### #... ###. #... #...",
    "G": ".### #... #.## #..# .###",
    "H": "#..# #..# #### #..# #..#",
    "I": "# # # # #",
    "J": "..## ...# ...# #..# .##.",
    "K": "#..# #.#. ##.. #.#. #..#",
    "L": "#... #... #... #... ####",
    "M": "#...# ##.## #.#.# #...# #...#",
    "N": "#..# ##.# #.## #..# #..#",
    "O": ".##. #..# #..# #..# .##.",
    "P": "###. #..# ###. #... #...",
    "Q": ".##. #..# #..# #.#. .#.#",
    "R": "###. #..# ###. #.#. #..#",
    "S": ".### #... .##. ...# ###.",
    "T": "### .#. .#. .#. .#.",
    "U": "#..# #..# #..# #..# .##.",
    "V": "#...# #...# #...# .#.#. ..#..",
    "W": "#...# #...# #.#.# ##.## #...#",
    "X": "#...# .#.#. ..#.. .#.#. #...#",
    "Y": "#.# #.# .#. .#. .#.",
    "Z": "#### ...# .##. #... ####",
    "0": "#### #..# #..# #..# ####",
    "1": "..#. .##. ..#. ..#. .###",
    "2": "#### ...# #### #... ####",
    "3": "#### ...# .### ...# ####",
    "4": "#..# #..# #### ...# ...#",
    "5": "#### #... #### ...# ####",
    "6": "#### #... #### #..# ####",
    "7": "#### ...# ..#. ..#. ..#.",
    "8": "#### #..# #### #..# ####",
    "9": "#### #..# #### ...# ####",
    ".": ". . . . #",
    ",": ". . . # #",
    "-": "... ... ### ... ...",
    "/": "...# ...# ..#. .#.. #...",
    "?": "##. ..# .#. ... .#.",
    "!": "# # # . #",
    ":": ". # . # .",
    "_": ".... .... .... .... ####",
    "'": "# # . . .",
    " ": ".. .. .. .. ..",
}

INK, ASCII_INK = "█", "#"
"""What the large letters are drawn with; the second where an encoding lacks the first."""

_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def can_draw(text: str) -> bool:
    """Whether there is a picture of every sign of a text, in capitals."""
    return all(sign in _PICTURES for sign in text.upper())


def can_encode(encoding: str) -> bool:
    """Whether an encoding has the block characters.

    >>> can_encode("utf-8"), can_encode("ascii"), can_encode("cp437"), can_encode("no such")
    (True, False, True, False)
    """
    try:
        "".join((INK, *_HALVES.values())).encode(encoding)
    except (LookupError, UnicodeError):
        return False
    return True


def width(text: str, times: int = 1) -> int:
    """Columns that a text takes, `times` enlarged in width."""
    signs = [len(_PICTURES[sign].split()[0]) for sign in text.upper()]
    return times * (sum(signs) + max(0, len(signs) - 1))


def large(text: str, times: int = 1, down: int = 1, ink: str = INK) -> tuple[str, ...]:
    r"""A text in full blocks, `times` as wide and `down` times as high as its pictures.

    >>> print("\n".join(large("1.", ink="#")))
      #
     ##
      #
      #
     ### #
    """
    rows = []
    for row in _dots(text):
        drawn = "".join((ink if dot else " ") * times for dot in row).rstrip()
        rows += [drawn] * down
    return tuple(rows)


def small(text: str) -> tuple[str, ...]:
    """A text in half blocks: three lines."""
    rows = [*_dots(text), (False,) * width(text)]
    return tuple(
        "".join(_HALVES[upper, lower] for upper, lower in zip(*rows[at : at + 2], strict=True))
        for at in range(0, ROWS + 1, 2)
    )


def _dots(text: str) -> tuple[tuple[bool, ...], ...]:
    pictures = [_PICTURES[sign].split() for sign in text.upper()]
    return tuple(
        tuple(dot == "#" for dot in ".".join(picture[row] for picture in pictures))
        for row in range(ROWS)
    )
