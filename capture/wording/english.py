"""English for everything the program says. Short: it is spoken between two folds."""

from collections.abc import Mapping

from capture.language.intents import NotUnderstood, SkipReason, WhyNot
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.protocol.protocol import Protocol
from capture.units import millimetres
from capture.visit.announcement import (
    AllMeasured,
    Announcement,
    Answered,
    AskPermission,
    AskReading,
    AskTape,
    Dropped,
    Paused,
    ReadBack,
    ReadBackTape,
    Refused,
    Saved,
    SavedTape,
    SayAgain,
    Signed,
    Skipped,
    Stopped,
    Undone,
    Why,
)
from capture.wording.numbers import NumberWords

_PERMISSIONS = {
    "clothing": "May clothing be moved at the sites?",
    "marks": "May the skin be marked?",
    "touch": "May the client be touched, with hands and caliper?",
}
_PERMISSION_NAMES = {
    "clothing": "moving clothing",
    "marks": "marks on the skin",
    "touch": "touch",
}
_ORDINALS = {1: "first", 2: "second", 3: "third", 4: "fourth"}
_SKIPS = {
    SkipReason.REFUSED: "refused",
    SkipReason.TOO_THICK: "too thick for the caliper",
    SkipReason.INJURY: "injury",
    SkipReason.SKIN: "skin condition",
    SkipReason.UNABLE: "unable this time",
}
_WHY_NOT: Mapping[WhyNot, str] = {
    WhyNot.NOT_A_CALL: "That is no call here. Say again.",
    WhyNot.UNFINISHED: "That was only part of a call. Say the whole of it.",
    WhyNot.TWO_NUMBERS: "Two numbers. Say one.",
    WhyNot.LOST_POINT: "No point was heard. Say the number with its point.",
    WhyNot.TOO_FINE: "Too fine. One digit after the point.",
    WhyNot.OUT_OF_RANGE: "No caliper shows that. Say again.",
}


class English:
    """Says announcements about a visit of one protocol."""

    def __init__(self, numbers: NumberWords, protocol: Protocol) -> None:
        self._numbers = numbers
        self._protocol = protocol

    def site(self, site_id: str) -> str:
        """The site's full name."""
        return self._protocol.site(site_id).title

    def say(self, announcement: Announcement) -> str:
        """The announcement in words."""
        match announcement:
            case AskPermission(permission):
                return f"{_PERMISSIONS[permission]} Granted, or refused?"
            case Answered(permission, granted):
                return f"{_PERMISSION_NAMES[permission]}: {'granted' if granted else 'refused'}."
            case AskTape(site):
                return f"{self.site(site)}: call the tape length."
            case ReadBackTape():
                return self._tape_read_back(announcement)
            case SavedTape(site):
                return f"Mark saved: {self.site(site)}."
            case AskReading():
                return self._ask_reading(announcement)
            case ReadBack():
                return self._read_back(announcement)
            case Saved(site, value):
                return f"Saved: {self.site(site)} {millimetres(value)}."
            case Dropped(site):
                return f"Not saved: {self.site(site)}."
            case Skipped(site, reason):
                return f"{self.site(site)} skipped: {_SKIPS[reason]}."
            case Undone():
                return self._undone(announcement)
            case Refused():
                return self._refused(announcement)
            case SayAgain(reason):
                return _say_again(reason)
            case AllMeasured():
                return "All measured. Look at the results; then sign off."
            case Stopped(permission):
                return (
                    f"No permission for {_PERMISSION_NAMES[permission]}: nothing is measured. "
                    "Undo, or sign off."
                )
            case Paused():
                return "Paused. Say resume to go on."
            case Signed():
                return "Signed off."

    def _tape_read_back(self, tape: ReadBackTape) -> str:
        start = self._protocol.site(tape.site).tape_from
        rounded = ", rounded down" if tape.rounded else ""
        return (
            f"{self.site(tape.site)}, {self._numbers.length(tape.length)}: "
            f"mark at {self._numbers.length(tape.mark)}{rounded}, from {start}. Right?"
        )

    def _ask_reading(self, ask: AskReading) -> str:
        if ask.third:
            wait = " Wait for the fold to recover." if ask.same_again else ""
            return f"{self.site(ask.site)}, a third: the two disagree.{wait}"
        return f"{self.site(ask.site)}, {_ORDINALS[ask.circuit]} circuit."

    def _read_back(self, read: ReadBack) -> str:
        text = f"{self.site(read.site)}, {self._numbers.read_back(read.value_tenths_mm)}."
        if not read.doubts:
            return f"{text} Right?"
        reasons = " ".join(self._doubt(doubt) for doubt in read.doubts)
        return f"{text} Doubtful: {reasons} Yes only if sure."

    def _doubt(self, doubt: Doubt) -> str:
        other = doubt.other_tenths_mm
        match doubt.kind, other:
            case ((DoubtKind.RIVAL | DoubtKind.SOUNDS_ALIKE), int()):
                return f"or {self._numbers.read_back(other)}?"
            case DoubtKind.DIFFERS, int():
                return f"the other circuit was {self._numbers.plain(other)}."
            case DoubtKind.UNUSUAL, _:
                return "unusual for this site."
            case _:
                return "not heard clearly."

    def _undone(self, undone: Undone) -> str:
        if undone.what == "reading" and undone.site and undone.value_tenths_mm is not None:
            value = self._numbers.plain(undone.value_tenths_mm)
            return f"Taken back: {self.site(undone.site)} {value}."
        if undone.what == "permission" and undone.site:
            return f"Taken back: the answer on {_PERMISSION_NAMES[undone.site]}."
        return f"Taken back: {undone.what} at {self.site(undone.site or '')}."

    def _refused(self, refused: Refused) -> str:
        site = self._name(refused.site)
        value = "" if refused.value_tenths_mm is None else millimetres(refused.value_tenths_mm)
        return {
            Why.BEYOND_OPENING: f"{value} is wider than this caliper opens. Not saved.",
            Why.OFF_SCALE: f"{value} is not a mark on this caliper's scale. Not saved.",
            Why.NOT_NOW: "Not now.",
            Why.NOT_IN_PROTOCOL: f"{site} is not in this protocol.",
            Why.ALREADY_DONE: f"{site} needs no more readings now.",
            Why.JUST_MEASURED: f"{site} was measured just now. Let the fold recover.",
            Why.OTHER_PENDING: f"{site} waits for its yes or no first.",
            Why.NOTHING_TO_UNDO: "There is nothing to take back.",
            Why.UNCLEAR: "Not heard clearly. Say it once more.",
        }[refused.why]

    def _name(self, site_id: str | None) -> str:
        if site_id is None:
            return "That"
        known = {site.id: site.title for site in self._protocol.sites}
        return known.get(site_id, site_id.replace("_", " "))


def _say_again(reason: NotUnderstood) -> str:
    if reason.why is WhyNot.OUT_OF_RANGE and reason.detail:
        return f"{reason.detail} millimetres: no caliper shows that. Say again."
    return _WHY_NOT[reason.why]
