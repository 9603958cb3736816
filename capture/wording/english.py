"""English for everything the program says. Short: it is spoken between two folds."""

from collections.abc import Mapping

from capture.language.intents import NotUnderstood, SkipReason, WhyNot
from capture.protocol.plausibility import Doubt, DoubtKind
from capture.protocol.protocol import Protocol
from capture.protocol.setup import LAYERS
from capture.protocol.tape import TapeDoubt, TapeDoubtKind
from capture.units import millimetres
from capture.visit.announcement import (
    AllMeasured,
    Announcement,
    Answered,
    AskPermission,
    AskPreparation,
    AskReading,
    AskSetup,
    AskTape,
    Chosen,
    Dropped,
    Ended,
    Finished,
    Noted,
    NoteOpen,
    Paused,
    Prepared,
    PutOff,
    ReadBack,
    ReadBackTape,
    Refused,
    RemarkTaken,
    Saved,
    SavedTape,
    SayAgain,
    SetupSaved,
    Signed,
    Skipped,
    Stopped,
    Undone,
    Why,
    WhyNext,
)
from capture.wording import trade
from capture.wording.numbers import NumberWords

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
                return f"{trade.PERMISSIONS[permission]} Granted, or refused?"
            case Answered(permission, granted):
                return (
                    f"{trade.PERMISSION_NAMES[permission]}: {'granted' if granted else 'refused'}."
                )
            case AskTape():
                return self._ask_tape(announcement)
            case ReadBackTape():
                return self._tape_read_back(announcement)
            case SavedTape(site):
                return f"Mark saved: {self.site(site)}."
            case AskReading():
                return self._ask_reading(announcement)
            case ReadBack():
                return self._read_back(announcement)
            case Saved(site, value, cloth):
                return f"Saved: {self.site(site)} {millimetres(value)}{self._net(value, cloth)}."
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
                    f"No permission for {trade.PERMISSION_NAMES[permission]}. {trade.OFFERS} "
                    "Or undo, or sign off."
                )
            case Paused():
                return "Paused. Say resume to go on."
            case Signed():
                return "Signed off."
            case _:
                return self._of_the_trade(announcement)

    def _of_the_trade(self, announcement: Announcement) -> str:
        match announcement:
            case Ended(option):
                name = trade.OPTION_NAMES[option]
                return f"Nothing more is measured: {name}. Undo, or sign off."
            case Chosen(option):
                return trade.CHOSEN[option]
            case Noted(caution):
                return f"{trade.CAUTIONS[caution]} {trade.POLICY}"
            case AskPreparation(what):
                return trade.PREPARATIONS[what]
            case Prepared(what, yes):
                return trade.PREPARED[what, yes]
            case AskSetup():
                return self._ask_setup(announcement)
            case SetupSaved(site, field, value):
                what = trade.setup_value(self._numbers, field, value)
                return f"Recorded: {self.site(site)}, {what}."
            case PutOff(site):
                return f"{self.site(site)} comes at the end."
            case Finished():
                return "Finished early: the rest is left out."
            case NoteOpen():
                return "Say the note."
            case RemarkTaken(spoken):
                return "A spoken note is marked." if spoken else "The note is recorded."
            case _:
                raise TypeError(type(announcement).__name__)

    def _ask_tape(self, ask: AskTape) -> str:
        site = self._protocol.site(ask.site)
        ends = f", from {site.tape_from} to {site.tape_to}" if site.tape_to else ""
        last = "" if ask.last_time is None else f" Last time {self._numbers.length(ask.last_time)}."
        return f"{site.title}: call the tape length{ends}.{last}"

    def _ask_setup(self, ask: AskSetup) -> str:
        before = trade.setup_value(self._numbers, ask.field, ask.before)
        after = trade.setup_value(self._numbers, ask.field, ask.after)
        if ask.last_time:
            return (
                f"{self.site(ask.site)}: last time {before}; now {after}? The two do not compare."
            )
        return f"{self.site(ask.site)}: {after} instead of {before}. Right?"

    def _net(self, value_tenths_mm: int, cloth_tenths_mm: int) -> str:
        """What is left of a value without the cloth; empty for bare skin."""
        if not cloth_tenths_mm:
            return ""
        net = millimetres(value_tenths_mm - LAYERS * cloth_tenths_mm)
        return f" through cloth, {net} without it, an estimate"

    def _tape_read_back(self, tape: ReadBackTape) -> str:
        start = self._protocol.site(tape.site).tape_from
        direction = "up" if self._protocol.tape_up else "down"
        rounded = f", rounded {direction}" if tape.rounded else ""
        text = (
            f"{self.site(tape.site)}, {self._numbers.length_read_back(tape.length)}: "
            f"mark at {trade.SHARES.get(tape.share, '')}"
            f"{self._numbers.length_read_back(tape.mark)}{rounded}, from {start}."
        )
        if not tape.doubts:
            return f"{text} Right?"
        reasons = " ".join(self._tape_doubt(doubt) for doubt in tape.doubts)
        return f"{text} Doubtful: {reasons} Yes only if sure."

    def _tape_doubt(self, doubt: TapeDoubt) -> str:
        other = doubt.other
        match doubt.kind:
            case TapeDoubtKind.RIVAL | TapeDoubtKind.SOUNDS_ALIKE if other is not None:
                return f"or {self._numbers.length_read_back(other)}?"
            case TapeDoubtKind.CHANGED if other is not None:
                return f"last time {self._numbers.length(other)}."
            case TapeDoubtKind.UNUSUAL:
                return "unusual for this site."
            case TapeDoubtKind.BEGUN_EARLY:
                return "begun before the program listened."
            case _:
                return "not heard clearly."

    def _ask_reading(self, ask: AskReading) -> str:
        wait = " Wait for the fold to recover." if ask.same_again else ""
        setup = (
            ""
            if ask.setup is None
            else f" {trade.setup_words(self._numbers, ask.setup).capitalize()}."
        )
        if ask.third:
            return f"{self.site(ask.site)}, a third: the two disagree.{wait}{setup}"
        if ask.why is WhyNext.EXTRA:
            return f"{self.site(ask.site)}, one reading more.{wait}{setup}"
        why = {
            WhyNext.RECOVERS: " The fold before it must recover.",
            WhyNext.PUT_OFF: " It was put off.",
        }.get(ask.why, "")
        return f"{self.site(ask.site)}, {_ORDINALS[ask.circuit]} circuit.{why}{setup}"

    def _read_back(self, read: ReadBack) -> str:
        value = self._numbers.read_back(read.value_tenths_mm)
        text = f"{self.site(read.site)}, {value}."
        if read.cloth_tenths_mm:
            net = self._numbers.plain(read.value_tenths_mm - LAYERS * read.cloth_tenths_mm)
            text += f" Through cloth, {net} without it, an estimate."
        if read.goes_through:
            return text
        if not read.doubts:
            return f"{text} Right?"
        reasons = " ".join(self._doubt(doubt) for doubt in read.doubts)
        return f"{text} Doubtful: {reasons} Yes only if sure."

    def _doubt(self, doubt: Doubt) -> str:
        other = doubt.other_tenths_mm
        match doubt.kind, other:
            case ((DoubtKind.RIVAL | DoubtKind.SOUNDS_ALIKE), int()):
                return f"or {self._numbers.read_back(other)}?"
            case DoubtKind.MISHEARD, int():
                return f"or {self._numbers.read_back(other)}, heard wrong before?"
            case DoubtKind.DIFFERS, int():
                return f"the other circuit was {self._numbers.plain(other)}."
            case DoubtKind.UNUSUAL, _:
                return "unusual for this site."
            case DoubtKind.THIN, _:
                return "thinner than two millimetres."
            case DoubtKind.BY_EYE, _:
                return "between two marks of the scale."
            case DoubtKind.OTHER_COVER, _:
                return "through other cloth than before."
            case DoubtKind.BEGUN_EARLY, _:
                return "begun before the program listened."
            case _:
                return "not heard clearly."

    def _undone(self, undone: Undone) -> str:
        if undone.what == "reading" and undone.site and undone.value_tenths_mm is not None:
            value = self._numbers.plain(undone.value_tenths_mm)
            return f"Taken back: {self.site(undone.site)} {value}."
        name = trade.undone_name(undone.what, undone.site or "")
        if name is not None:
            return f"Taken back: {name}."
        return f"Taken back: {undone.what} at {self.site(undone.site or '')}."

    def _refused(self, refused: Refused) -> str:
        site = self._name(refused.site)
        value = "" if refused.value_tenths_mm is None else millimetres(refused.value_tenths_mm)
        return {
            Why.BEYOND_OPENING: f"{value} is wider than this caliper opens. Not saved. "
            "Say again, or skip too thick.",
            Why.OFF_SCALE: f"{value} is not a mark on this caliper's scale. Not saved. Say again.",
            Why.NOT_NOW: "Not now.",
            Why.NOT_IN_PROTOCOL: f"{site} is not in this protocol.",
            Why.ALREADY_DONE: f"{site} needs no more readings now.",
            Why.JUST_MEASURED: f"{site} was measured just now. Let the fold recover.",
            Why.OTHER_PENDING: f"{site} waits for its yes or no first.",
            Why.NOTHING_TO_UNDO: "There is nothing to take back.",
            Why.UNCLEAR: "Not heard clearly. Say it once more.",
            Why.BEGUN_EARLY: "That began before the program listened. Say it once more.",
            Why.CLOTH_UNKNOWN: f"{site} is measured through cloth: say its thickness first, "
            "or bare skin.",
            Why.THINNER_THAN_CLOTH: f"{site}: not more than the cloth alone. Not saved.",
            Why.ALREADY_SO: "It is so already.",
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
