"""From a session to what its screen shows. Pure, but for the session that it looks at."""

from collections.abc import Callable, Mapping, Sequence

from capture.drawn import Drawn, drawn_of
from capture.hearing import Meter
from capture.protocol.pictures import figure_lines, picture_words
from capture.screen.keymap import Action, help_pages, key_title
from capture.screen.view import Picture, SoundView, Standing, View
from capture.session import Session
from capture.shown import Shown
from capture.sound.source import MicState
from capture.units import TapeLength, millimetres
from capture.visit.announcement import Saved, SavedTape
from capture.visit.setups import site_at_hand
from capture.visit.state import Confirmation, Visit
from capture.wording.lists import menu_words

LEVEL_STEP_DB = 3
_MODES = {Confirmation.EACH: "yes to each", Confirmation.CALL_THROUGH: "call-through"}


def view_of(
    session: Session,
    client: str,
    assessor: str,
    may_say: Mapping[str, Sequence[str]],
    meter: Meter | None,
    draw: Callable[[Visit], Drawn] = drawn_of,
) -> View:
    """The view of this moment. `may_say` holds example phrases for each listening rule.

    `draw` gives what follows from the visit alone.
    """
    visit, shown = session.visit, session.shown
    drawn = draw(visit)
    rule = session.road.listening
    return View(
        client=client,
        assessor=assessor,
        protocol=visit.plan.protocol.title,
        headline=drawn.headline,
        about=drawn.about,
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
        table=drawn.table,
        progress=drawn.progress,
        sound=_sound(session, meter),
        events=tuple(shown.events[:-1]),
        help=_help(session),
        picture=_picture(session),
        warning=shown.warning,
    )


def _help(session: Session) -> tuple[tuple[str, str, str], ...]:
    """The page of the keys that is open, empty for none and for the picture's page."""
    page = session.shown.help
    if not page:
        return ()
    pages = help_pages(session.bindings)
    return pages[page - 1] if 1 <= page <= len(pages) else ()


def _picture(session: Session) -> Picture | None:
    """The present site's drawing, on the page of the help after the keys."""
    page = session.shown.help
    if not page or page <= len(help_pages(session.bindings)):
        return None
    site = site_at_hand(session.visit)
    return Picture(figure_lines(site), picture_words(site))


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
