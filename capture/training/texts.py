"""What the training voices say: seeded text, half of it calls of the English pack.

Everything here is a pure function of a ``random.Random`` that the caller seeds.
"""

import random
from collections.abc import Callable, Sequence


def _words(text: str) -> list[str]:
    return text.split()


ONES = _words("one two three four five six seven eight nine")
TEENS = _words("ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
HARD_NUMBERS = _words(
    "thirteen thirty fourteen forty fifteen fifty sixteen sixty seventeen seventy eighteen "
    "eighty nineteen ninety five nine six sixty two ten oh eight eleven seven"
)
"""Words that are heard for one another; they are spoken more often than chance gives."""

SHORT_WORDS = _words("yes no oh zero half next back skip undo again stop note left right bare done")

SITES = (
    "chest",
    "pectoral",
    "midaxillary",
    "axilla",
    "triceps",
    "subscapular",
    "shoulder blade",
    "abdominal",
    "abdomen",
    "suprailiac",
    "iliac crest",
    "supraspinale",
    "thigh",
    "biceps",
    "calf",
    "medial calf",
)
COMMANDS = (
    "yes",
    "no",
    "confirm",
    "confirmed",
    "correction",
    "undo",
    "repeat",
    "say again",
    "again",
    "skip",
    "next",
    "back",
    "previous",
    "pause",
    "resume",
    "stop",
    "stop listening",
    "listen",
    "note",
    "finish",
    "sign off",
    "done",
    "ready",
    "on mark",
    "left",
    "right",
    "left side",
    "right side",
    "vertical",
    "horizontal",
    "diagonal",
    "through cloth",
    "through clothing",
    "bare",
    "granted",
    "refused",
    "withdrawn",
    "injury",
    "skin too thick",
    "unable",
    "tape",
    "site",
    "circuit",
    "help",
    "cancel",
    "next site",
    "go back",
    "previous site",
    "confirm right side",
    "skip site",
    "bare skin",
)
SKIP_REASONS = ("refused", "injury", "too thick", "unable", "skin too thick", "through clothing")

COMMON_WORDS = _words(
    "the be of and a to in he have it that for they with as not on she at by this we you do "
    "but from or which one would all will there say who make when can more if no man out "
    "other so what time up go about than into could state only new year some take come these "
    "know see use get like then first any work now may such give over think most even find "
    "day also after way many must look before great back through long where much should well "
    "people down own just because good each those feel seem how high too place little world "
    "very still nation hand old life tell write become here show house both between need "
    "mean call develop under last right move thing general school never same another begin "
    "while number part turn real leave might want point form off child few small since "
    "against ask late home interest large person end open public follow during present "
    "without again hold govern around possible head consider word program problem however "
    "lead system set order eye plan run keep face fact group play stand increase early "
    "course change help line water coffee phone door table morning window weather garden "
    "music paper letter train bridge river summer winter kitchen bottle hammer yellow purple "
    "orange question answer story picture country please thanks hello sorry okay really "
    "maybe actually wait hang minute second moment breathe relax stay still arm leg hip knee "
    "ankle wrist finger neck ear mouth nose trousers shirt sleeve caliper pinch fold measure "
    "recorder subject athlete height weight gym ruler chair pen"
)
NEAR_WORDS = (
    "fifth sixth seventh ninth tenth twelfth thirteenth fiftieth forth fort thirst thirsty nice "
    "fine mine sign pen then heaven lemon fifties sixties nineties hundreds thousand million "
    "yesterday yeah yep nope know noble chess chester triple bicycle tight sigh thick sick tree "
    "free hate late wait ton run won't don't pointed joint counting bounty plenty county empty "
    "party dirty thirteen's sitting fitting sticks fix mix kicks live alive drive leaven level "
    "even given having undone repeated skipped confirming refusing grant rented pausing resumed"
).split()
"""English that is near to the pack's words and is none of them."""

_SUBJECTS = ("i", "you", "we", "they", "the athlete", "my friend", "this person", "she", "he")
_VERBS = _words("need want see like take move hold measure open find leave keep change know write")
_OBJECTS = (
    "the door",
    "a chair",
    "the caliper",
    "another measure",
    "your arm",
    "the number",
    "some water",
    "a new pen",
    "the same thing",
    "that question",
    "the other side",
    "my phone",
    "it",
    "them",
)
_TAILS = (
    "",
    "",
    "now",
    "again",
    "please",
    "before lunch",
    "in a minute",
    "on monday",
    "for me",
    "today",
)


def spoken_whole(number: int) -> str:
    """Say 0 to 99 as one number, "thirty seven" for 37."""
    if number < 10:
        return ONES[number - 1] if number else "zero"
    if number < 20:
        return TEENS[number - 10]
    tens = TENS[number // 10 - 2]
    return f"{tens} {ONES[number % 10 - 1]}" if number % 10 else tens


def spoken_digits(number: int, rng: random.Random) -> str:
    """Say a number digit by digit, "one two" for 12; a nought in it is "oh" or "zero"."""
    return " ".join(
        ONES[int(d) - 1] if d != "0" else rng.choice(["oh", "zero"]) for d in str(number)
    )


def number_call(rng: random.Random) -> str:
    """Say a reading: 0.5 to 99.9 in any of the spoken forms."""
    if rng.random() < 0.18:
        whole_words = rng.choice(HARD_NUMBERS)
    else:
        number = rng.randint(1, 45) if rng.random() < 0.6 else rng.randint(1, 99)
        digits = number >= 10 and rng.random() < 0.35
        whole_words = spoken_digits(number, rng) if digits else spoken_whole(number)
    form = rng.random()
    if form < 0.36:
        return whole_words
    if form < 0.72:
        tenth = rng.choice([*ONES, *ONES, "oh", "zero"])
        return f"{whole_words} {'point' if rng.random() < 0.96 else 'decimal'} {tenth}"
    if form < 0.78:
        return f"{rng.choice(['oh', 'zero', 'nought'])} point {rng.choice(ONES)}"
    if form < 0.86:
        return f"{whole_words} and a half"
    return f"{whole_words} and {_fraction(rng)}{rng.choice(['', '', ' inches', ' inch'])}"


def _fraction(rng: random.Random) -> str:
    kind = rng.random()
    if kind < 0.35:
        return rng.choice(["a quarter", "three quarters", "one quarter"])
    if kind < 0.75:
        return rng.choice(
            ["an eighth", "one eighth", *(f"{n} eighths" for n in ("three", "five", "seven"))]
        )
    odd = rng.choice([1, 3, 5, 7, 9, 11, 13, 15])
    return f"{spoken_whole(odd)} {'sixteenth' if odd == 1 else 'sixteenths'}"


def call(rng: random.Random) -> str:
    """Say one call of the pack: a reading, a site with a reading, a command or a mixture."""
    kind = rng.random()
    if kind < 0.42:
        return number_call(rng)
    if kind < 0.60:
        return f"{rng.choice(SITES)} {number_call(rng)}"
    if kind < 0.78:
        return rng.choice([*COMMANDS, *COMMANDS, *SITES])
    if kind < 0.86:
        return f"{rng.choice(['no', 'correction', 'correction', 'yes'])} {number_call(rng)}"
    if kind < 0.90:
        return f"go to {rng.choice(SITES)}"
    if kind < 0.93:
        return f"skip {rng.choice(SKIP_REASONS)}"
    if kind < 0.96:
        return (
            f"{number_call(rng)} {rng.choice(['centimetres', 'centimetre', 'inches', 'on mark'])}"
        )
    if kind < 0.98:
        return f"{rng.choice(['left', 'right'])} {rng.choice(SITES)}"
    return f"one hundred {rng.choice(['', number_call(rng)])}".strip()


def hard_call(rng: random.Random) -> str:
    """Say what is most easily misheard: teens and tens, strings of digits, a short word alone."""
    kind = rng.random()
    if kind < 0.35:
        number = rng.choice(HARD_NUMBERS)
        if number in TENS and rng.random() < 0.4:
            number = f"{number} {rng.choice(ONES)}"
        return number if rng.random() < 0.5 else f"{number} point {rng.choice(ONES)}"
    if kind < 0.7:
        digits = [rng.choice([*ONES, *ONES, "oh", "zero"]) for _ in range(rng.randint(2, 4))]
        if rng.random() < 0.5:
            digits.insert(len(digits) - 1, "point")
        return " ".join(digits)
    return rng.choice([*ONES, *ONES, *TEENS, *TENS, *SHORT_WORDS])


def word_salad(words: Sequence[str], rng: random.Random, most: int = 4) -> str:
    """Say one to *most* words of a list in any order."""
    return " ".join(rng.choice(words) for _ in range(rng.randint(1, most)))


def general_speech(rare_words: Sequence[str], rng: random.Random) -> str:
    """Say English that is no call: loose words, rarer words, or a simple sentence."""
    kind = rng.random()
    if kind < 0.30:
        words = rng.choice([COMMON_WORDS, [*COMMON_WORDS, *NEAR_WORDS]])
        return " ".join(rng.choice(words) for _ in range(rng.randint(1, 8)))
    if kind < 0.70:
        return " ".join(rng.choice(rare_words) for _ in range(rng.randint(2, 6)))
    parts = (rng.choice(_SUBJECTS), rng.choice(_VERBS), rng.choice(_OBJECTS), rng.choice(_TAILS))
    return " ".join(part for part in parts if part)


def phrase_maker(
    pack_words: Sequence[str], rare_words: Sequence[str], rng: random.Random
) -> Callable[[], str]:
    """Give what makes the next phrase: 60 % calls, 15 % pack words, 25 % other English.

    A quarter of the calls are hard ones.

    Half of the pack words stand alone: a short word alone is easily taken for noise.
    """

    def make() -> str:
        kind = rng.random()
        if kind < 0.45:
            return call(rng)
        if kind < 0.60:
            return hard_call(rng)
        if kind < 0.68:
            return rng.choice([*pack_words, *HARD_NUMBERS, *ONES])
        if kind < 0.75:
            return word_salad(pack_words, rng)
        return general_speech(rare_words, rng)

    return make
