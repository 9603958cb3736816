"""The voice check that is kept: the table `voice_check` of the settings, and what it changes. Pure.

It can only make the program ask more often, and only with the microphone and the model that it was
made with.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import astuple, dataclass
from datetime import date

from capture.recognise.certainty import Certainty
from capture.settings_table import Settings, Table
from capture.voice_verdict import Tally

TABLE = "voice_check"
_COUNTS = ("right", "doubtful", "asked_again", "silently_wrong")
_KEYS = ("date", "microphone", *_COUNTS, "normal_from", "measured_with")
_MOST_CALLS = 1000
_HINT = "Check again: foldcall check --voice --remember; or delete the table."
_MARK_DIGITS = 12


@dataclass(frozen=True, slots=True)
class KeptCheck:
    """A voice check: day, microphone, counts.

    `normal_from` is the threshold that the room asks for, 0 for none. `measured_with` marks the
    doubt of the model that heard, see `mark_of`.
    """

    on: date
    microphone: str
    tally: Tally
    measured_with: str
    normal_from: float = 0.0


@dataclass(frozen=True, slots=True)
class Here:
    """What holds for a session: the doubt, and a line to begin with, empty for none.

    `counts`: a kept check holds here.
    """

    certainty: Certainty | None
    line: str = ""
    counts: bool = False


def mark_of(certainty: Certainty) -> str:
    """A short mark of a fitted doubt: another model's probabilities are other probabilities."""
    told = repr(astuple(certainty)).encode()
    return hashlib.sha256(told).hexdigest()[:_MARK_DIGITS]


def kept_check(settings: Settings) -> KeptCheck | None:
    """The check that is kept, None for none. Raises SettingsError for what has the wrong form."""
    table = settings.table(TABLE)
    if not table.entries:
        return None
    table.allow(_KEYS)
    for key in ("date", "microphone", "measured_with", *_COUNTS):
        if key not in table.entries:
            raise table.wrong(key, f"It is missing. {_HINT}")
    try:
        on = date.fromisoformat(table.text("date", "", _HINT))
    except ValueError:
        raise table.wrong("date", f"Write a day such as 2026-05-03. {_HINT}") from None
    return KeptCheck(
        on,
        table.text("microphone", "", _HINT),
        Tally(*(_count(table, key) for key in _COUNTS)),
        table.text("measured_with", "", _HINT),
        table.number("normal_from", 0.0, (0.0, 1.0)),
    )


def _count(table: Table, key: str) -> int:
    value = table.number(key, 0, (0, _MOST_CALLS))
    if value != int(value):
        raise table.wrong(key, f"Write a whole number. {_HINT}")
    return int(value)


def entries_of(kept: KeptCheck) -> Mapping[str, str | bool | int | float | list[str]]:
    """What stands in the table for a check; `kept_check` reads it back."""
    entries: dict[str, str | bool | int | float | list[str]] = {
        "date": kept.on.isoformat(),
        "microphone": kept.microphone,
        **dict(zip(_COUNTS, astuple(kept.tally), strict=True)),
    }
    if kept.normal_from:
        entries["normal_from"] = kept.normal_from
    return {**entries, "measured_with": kept.measured_with}


def joined(before: KeptCheck | None, new: KeptCheck) -> KeptCheck:
    """What is to be kept after a new check: a threshold that was needed here stays needed.

    Twenty good answers do not say that the mistake of the time before cannot come again.
    """
    if before is None or not _same_place(before, new.microphone, new.measured_with):
        return new
    least = max(before.normal_from, new.normal_from)
    return KeptCheck(new.on, new.microphone, new.tally, new.measured_with, least)


def here(kept: KeptCheck | None, certainty: Certainty | None, microphone: str | None) -> Here:
    """The doubt that holds with this microphone, and what there is to say about the kept check.

    `microphone` None: which one it will be is not known yet, so the stricter thresholds hold.
    """
    if kept is None:
        return Here(certainty)
    told = f"The voice check of {day(kept.on)}"
    if microphone is not None and microphone != kept.microphone:
        said = f"{told} was made with another microphone, '{kept.microphone}': it does not count."
        return Here(certainty, said)
    if certainty is None or kept.measured_with != mark_of(certainty):
        return Here(certainty, f"{told} was made with another model: it does not count.")
    return Here(certainty.stricter(kept.normal_from), kept_line(kept), counts=True)


def kept_line(kept: KeptCheck) -> str:
    """The kept check in a line, short enough to stand beside other news.

    >>> kept_line(KeptCheck(date(2026, 5, 3), "lapel", Tally(19, 1, 0, 0), ""))
    'Voice check of 3 May 2026: 19 of 20 right at once.'
    """
    found = kept.tally
    told = f"Voice check of {day(kept.on)}: "
    if found.silently_wrong:
        told += f"{found.silently_wrong} of {found.calls} silently wrong: use the keypad."
    else:
        told += f"{found.right} of {found.calls} right at once."
    return f"{told} Doubtful below {kept.normal_from:.2%}." if kept.normal_from else told


def day(on: date) -> str:
    """A day as it is told, the same in every locale.

    >>> day(date(2026, 11, 25))
    '25 Nov 2026'
    """
    months = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()
    return f"{on.day} {months[on.month - 1]} {on.year}"


def _same_place(kept: KeptCheck, microphone: str, measured_with: str) -> bool:
    return kept.microphone == microphone and kept.measured_with == measured_with
