"""From a session to what its screen shows. Pure, but for the session that it looks at."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from capture.composition.statistics import settle, shown_tenths
from capture.hearing import Meter
from capture.protocol.dwell import Dwelt
from capture.protocol.pictures import figure_lines, picture_words
from capture.screen.keymap import Action, help_pages, key_title
from capture.screen.menus import is_screening
from capture.screen.plain import progress
from capture.screen.view import Picture, SoundView, Standing, TableRow, View
from capture.session import Session
from capture.shown import Shown
from capture.sound.source import MicState
from capture.units import TapeLength, millimetres
from capture.visit.announcement import (
    AllMeasured,
    Announcement,
    AskPermission,
    AskPreparation,
    AskReading,
    AskTape,
    Ended,
    Paused,
    ReadBack,
    ReadBackTape,
    Saved,
    SavedTape,
    Signed,
    Stopped,
)
from capture.visit.course import next_target, question
from capture.visit.setups import site_at_hand
from capture.visit.state import Confirmation, Target, Visit
from capture.wording import trade
from capture.wording.lists import menu_words

LEVEL_STEP_DB = 3
_MODES = {Confirmation.EACH: "yes to each", Confirmation.CALL_THROUGH: "call-through"}
_OUT_OF_TIME = {Dwelt.TOO_SOON: "TOO SOON", Dwelt.LATE: "LATE"}
_SCREENING = "Enter: ready. A number: a reason for care."
ORDINALS = ("first", "second", "third", "fourth", "fifth")


def view_of(
    session: Session,
    client: str,
    assessor: str,
    may_say: Mapping[str, Sequence[str]],
    meter: Meter | None,
) -> View:
    """The view of this moment. `may_say` holds example phrases for each listening rule."""
    visit, shown = session.visit, session.shown
    asked = question(visit)
    rule = session.road.listening
    return View(
        client=client,
        assessor=assessor,
        protocol=visit.plan.protocol.title,
        headline=_headline(asked, visit),
        about=_about(asked, visit),
        value=_value(shown, visit),
        standing=_standing(session),
        standing_about=_standing_about(session),
        said=tuple(shown.lines),
        heard=shown.heard,
        notice=shown.notice,
        menu=menu_words(shown.entry, visit),
        may_say=tuple(may_say.get(rule.rpartition(".")[2], ())) if rule else (),
        keys=_keys(session),
        mode=_MODES[visit.plan.confirmation],
        table=tuple(_row(site.id, visit) for site in visit.plan.protocol.sites),
        progress=progress(visit).rpartition("] ")[2],
        sound=_sound(session, meter),
        events=tuple(shown.events[:-1]),
        help=_help(session),
        picture=_picture(session),
        warning=shown.warning,
    )


def _help(session: Session) -> tuple[tuple[str, str, str], ...]:
    """The page of the keys that is open, empty for none and for the picture's page."""
    pages = help_pages(session.bindings)
    page = session.shown.help
    return pages[page - 1] if 1 <= page <= len(pages) else ()


def _picture(session: Session) -> Picture | None:
    """The present site's drawing, on the page of the help after the keys."""
    if session.shown.help <= len(help_pages(session.bindings)):
        return None
    site = site_at_hand(session.visit)
    return Picture(figure_lines(site), picture_words(site))


def _headline(asked: Announcement, visit: Visit) -> str:
    match asked:
        case Paused():
            return "paused"
        case AskPreparation(what="ready" | "wiped" as what):
            return f"{what}?"
        case AllMeasured():
            return "all done"
        case Stopped():
            return "stopped"
        case Signed():
            return "signed"
    told: Any = asked
    site = getattr(told, "site", None)
    if site is not None:
        return next((each.title for each in visit.plan.protocol.sites if each.id == site), site)
    kind = re.sub("(?<=[a-z])(?=[A-Z])", " ", type(told).__name__).removeprefix("Ask ")
    named = getattr(told, "permission", None) or getattr(told, "what", None)
    return str(named or kind).replace("_", " ")


def _about(asked: Announcement, visit: Visit) -> str:
    match asked:
        case AskReading(circuit=circuit) | ReadBack(circuit=circuit):
            if circuit > visit.plan.protocol.circuits:
                return f"a third: the two disagree{_out_of_time(visit)}"
            return f"{ORDINALS[circuit - 1]} circuit{_out_of_time(visit)}"
        case ReadBackTape(mark=mark):
            return f"MARK AT {mark}"
        case AskPreparation() if is_screening(visit):
            noted = ", ".join(trade.CAUTION_NAMES[each] for each in dict.fromkeys(visit.cautions))
            return f"Noted: {noted}. Enter: ready." if noted else _SCREENING
        case AskPreparation() | AskPermission():
            return "Enter: yes. -: no."
        case Stopped():
            return "Choose by its number what is done instead."
        case Ended():
            return "Nothing more is measured: undo, or sign off."
        case AllMeasured():
            return "Nothing is left to measure: sign off."
        case Paused():
            return "Nothing is taken until the visit goes on."
        case Signed():
            return "The visit is closed."
    if isinstance(asked, AskTape):
        last = "" if asked.last_time is None else f", last time {asked.last_time}"
        return f"tape length{last}"
    return ""


def _out_of_time(visit: Visit) -> str:
    """The mark of the reading that waits, if it was called too soon or too late."""
    pending = visit.pending
    if pending is None or pending.dwell is None or pending.dwell not in _OUT_OF_TIME:
        return ""
    return f": {pending.dwell_s:.1f} s, {_OUT_OF_TIME[pending.dwell]}"


def _value(shown: Shown, visit: Visit) -> str:
    if shown.entry.is_text:
        return ""
    if shown.entry.is_typing:
        # The longest reading leaves no room for the cursor, and needs none.
        return shown.entry.typed if len(shown.entry.typed) > 3 else f"{shown.entry.typed}_"
    if visit.pending is not None:
        return millimetres(visit.pending.value_tenths_mm)
    if visit.pending_tape is not None:
        return _length(visit.pending_tape.length)
    return ""


def _length(length: TapeLength) -> str:
    return str(length).upper()


def _standing(session: Session) -> Standing:
    """How it stands; beside a value that is being typed, "saved" would be read as its own.

    While the jaws are on, that is what matters.
    """
    if session.shown.entry.is_typing:
        return Standing.TYPED
    word = session.dwell.word(session.now_s)
    return Standing(word) if word else session.shown.standing


def _standing_about(session: Session) -> str:
    shown = session.shown
    if shown.entry.is_typing or session.dwell.word(session.now_s):
        return ""
    match shown.about:
        case Saved(_, value) if shown.standing is Standing.SAVED:
            return millimetres(value)
        case SavedTape(mark=mark):
            return str(mark).upper()
    return ""


def _row(site_id: str, visit: Visit) -> TableRow:
    protocol = visit.plan.protocol
    present = next_target(visit)
    pending = visit.pending
    if pending is not None:
        present = pending.target
    third_due = protocol.third_due(visit.trials(site_id)[: protocol.circuits])
    cells = []
    for circuit in range(1, protocol.circuits + 2):
        target = Target(site_id, circuit)
        taken = [each for each in visit.confirmed if each.target == target]
        if taken:
            mark = "!" if taken[-1].dwell in _OUT_OF_TIME else ""
            cells.append(f"{millimetres(taken[-1].value_tenths_mm)}{mark}")
        elif pending is not None and pending.target == target:
            cells.append(f"{millimetres(pending.value_tenths_mm)}?")
        elif circuit > protocol.circuits:
            cells.append("due" if third_due and not visit.is_skipped(target) else "")
        else:
            cells.append("skip" if visit.is_skipped(target) else "-")
    trials = visit.trials(site_id)
    about = "~" if visit.is_estimate(site_id) else ""
    settled = settle(trials) if trials else None
    third = Target(site_id, protocol.circuits + 1)
    needs_third = third_due and len(trials) == protocol.circuits and not visit.is_skipped(third)
    return TableRow(
        site=protocol.site(site_id).title,
        readings=tuple(cells),
        value=f"{about}{millimetres(shown_tenths(settled.value_tenths_mm))}" if settled else "",
        how="" if settled is None or len(trials) < 2 else settled.how.value,
        spread=millimetres(settled.spread_tenths_mm) if settled and len(trials) > 1 else "",
        open="needs a third" if needs_third else "",
        present=present is not None and present.site == site_id,
    )


def _keys(session: Session) -> str:
    def key(action: Action) -> str:
        keys = session.bindings.keys(action)
        return key_title(keys[0]) if keys else "?"

    listed = (
        (Action.CONFIRM, "yes"),
        (Action.REFUSE, "no"),
        (Action.CORRECT, "correct"),
        (Action.UNDO, "undo"),
        (Action.REPEAT, "repeat"),
        (Action.SKIP, "skip"),
        (Action.GO_TO, "go to"),
        (Action.PAUSE, "pause"),
        (Action.HELP, "help"),
    )
    return "  ".join(f"{key(action)} {word}" for action, word in listed)


def _sound(session: Session, meter: Meter | None) -> SoundView:
    shown = session.shown
    microphone = shown.microphone
    comes = microphone is not None and microphone.state in {MicState.LISTENING, MicState.SILENT}
    return SoundView(
        state=_sound_state(session, meter),
        level_dbfs=_steps(meter.peak_dbfs) if meter is not None and comes else None,
        microphone=microphone.name if microphone is not None else "",
        recogniser=shown.recogniser,
        overruns=0 if meter is None else meter.overruns,
    )


def _steps(level_dbfs: float) -> float:
    """A level in steps, so that the hiss of a quiet room does not draw the screen anew."""
    return LEVEL_STEP_DB * round(level_dbfs / LEVEL_STEP_DB)


def _sound_state(session: Session, meter: Meter | None) -> str:
    """One or two words for what speech would do now."""
    shown = session.shown
    if meter is None or shown.ear_trouble is not None:
        return "KEYPAD ONLY"
    if shown.muted:
        return "KEYPAD ONLY (not listening)"
    if not shown.recogniser:
        return "LOADING"
    if session.speaking:
        return "SPEAKING"
    words = {
        None: "STARTING",
        MicState.STARTING: "STARTING",
        MicState.SILENT: "KEYPAD ONLY: MICROPHONE SILENT",
        MicState.DEAF: "KEYPAD ONLY: NO MICROPHONE",
        MicState.ENDED: "RECORDING OVER",
        MicState.CLOSED: "CLOSED",
    }
    state = None if shown.microphone is None else shown.microphone.state
    talk = next((key_title(key) for key in session.bindings.keys(Action.TALK)), "?")
    if state in words:
        return words[state]
    if session.visit.paused:
        return "PAUSED"
    if not session.listens:
        return f"PUSH TO TALK: {talk}" if session.talk.pushed else "NOT LISTENING"
    word = "LISTENING" if meter.open else "WAIT"
    left_s = session.talk.left_s(session.now_s)
    return f"{word} {left_s:.0f} s, {talk} ends" if session.talk.pushed else word
