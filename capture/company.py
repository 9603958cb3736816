"""All that runs in one live session: put together, run on a screen or in lines, and ended."""

import os
import signal
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import platformdirs

from capture.begin import Opened
from capture.drawn import Remembered
from capture.hearing import Hearing, Listeners
from capture.keeping import Keeping
from capture.language.grammar import LISTENING, Grammar, understand
from capture.language.intents import Intent, NotUnderstood
from capture.pack import Pack
from capture.preferences import USUAL, Letters, Preferences
from capture.protocol.caliper import caliper_warnings
from capture.recognise.port import Heard
from capture.rescue import RescuingJournal
from capture.road import Road
from capture.screen.app import Screen
from capture.screen.keymap import Bindings
from capture.screen.plain import PlainScreen, status_lines
from capture.screen.view import View
from capture.session import Session
from capture.showing import view_of
from capture.sound.duplex import HalfDuplex
from capture.sound.opening import open_voice
from capture.sound.portaudio import PortAudio
from capture.sound.settings import SoundSettings
from capture.sound.source import MicState, Source
from capture.sound.voice import SilentVoice
from capture.store import Store
from capture.visit.announcement import Announcement
from capture.visit.call import Call
from capture.visit.state import Visit
from capture.voice_kept import Here
from capture.wiring import (
    StoredJournal,
    Write,
    certainty_of,
    certainty_trouble,
    local_time,
    open_ear,
)
from capture.wording.english import English
from capture.wording.help import TITLES, phrase_lines
from capture.wording.numbers import NumberWords

LINE_WAIT_S = 0.2
ANYTHING = "anything"


def examples(grammar: Grammar, sites: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """For each listening rule a short example of each kind of call, for the screen."""
    rules = {f"{title}:": rule for rule, title in TITLES.items()}
    found: dict[str, tuple[str, ...]] = {}
    rule = ""
    for line in phrase_lines(grammar, sites):
        if line in rules:
            rule = rules[line]
        elif '"' in line:
            phrases = [part for part in line.split('"')[1::2] if part]
            shown = min(phrases, key=len)
            if shown.startswith("skip "):
                shown = " / ".join([phrases[0], *(each[5:] for each in phrases[1:])])
            found[rule] = (*found.get(rule, ()), shown)
    return found


@dataclass(slots=True)
class Company:
    """All that runs in one session; `close` ends it in the right order."""

    session: Session
    opened: Opened
    hearing: Hearing | None
    bindings: Bindings
    may_say: dict[str, tuple[str, ...]] = field(default_factory=dict)
    phrases: threading.Thread = field(default_factory=threading.Thread)
    """Fills `may_say`."""
    keeping: Keeping | None = None
    rescue: RescuingJournal | None = None
    room: str = ""
    """What a kept voice check says of the voice here."""
    unsure: str = ""
    """Why nothing is known of how sure the recogniser is; more is asked about then."""

    draw: Remembered = field(default_factory=Remembered)

    # The screen's stage.

    def view(self) -> View:
        """What is to be seen now."""
        row = self.opened.row
        meter = None if self.hearing is None else self.hearing.meter
        return view_of(
            self.session, row.client.name, row.assessor.name, self.may_say, meter, self.draw
        )

    def strike(self, key: str) -> None:
        """Queue a key."""
        self.session.strike(key)

    def drain(self) -> None:
        """Take all that waits."""
        self.session.drain()

    def tick(self) -> None:
        """Do what the time asks for."""
        self.session.tick()

    @property
    def over(self) -> bool:
        """Whether the session is to end."""
        return self.session.over

    def begin(self) -> None:
        """Announce where the visit stands, and begin to hear."""
        lines = []
        if self.opened.resumed:
            lines.append("The unfinished visit of this client goes on where it was left.")
        lines += caliper_warnings(self.opened.visit.plan.caliper, local_time()[:10])
        lines += [each for each in (self.unsure, self.room) if each]
        if lines:
            self.session.notice(" ".join(lines))
        if self.keeping is not None:
            self.keeping.begin()
        self.session.open()
        if self.hearing is not None:
            self.hearing.start()

    def close(self) -> None:
        """Let go of microphone and speaker. The journal is safe already."""
        self.session.wake = lambda: None
        if self.hearing is not None:
            self.hearing.stop()
        self.session.voice.close()
        if self.rescue is not None:
            self.rescue.close()


class _LineWatcher:
    """The line mode: every event as it comes."""

    def __init__(self, screen: PlainScreen) -> None:
        self._screen = screen

    def heard(self, call: Call) -> None:
        self._screen.heard(call)

    def ignored(self, heard: Heard) -> None:
        self._screen.ignored(heard)

    def said(self, announcement: Announcement, visit: Visit) -> None:
        self._screen.said(announcement, visit)

    def noticed(self, text: str) -> None:
        self._screen.noticed(text)


@dataclass(frozen=True, slots=True)
class Sound:
    """What a session hears with and speaks with; None for no hearing at all."""

    source: Source | None
    settings: SoundSettings
    model: Path | None = None
    preferences: Preferences = USUAL
    here: Here | None = None
    """The doubt that holds in this room, None for the pack's own."""


def assemble(
    store: Store,
    opened: Opened,
    pack: Pack,
    sound: Sound,
    bindings: Bindings,
    write: Write | None = None,
) -> Company:
    """Put a session together. `write` takes the lines of the line mode, None for a screen."""
    protocol = opened.visit.plan.protocol
    sites = {site.id for site in protocol.sites}
    wording = English(NumberWords(pack.grammar), protocol)
    source = sound.source
    clock_s = time.monotonic if source is None else source.now_s
    began_s = clock_s()
    watcher = None
    if write is not None:
        watcher = _LineWatcher(PlainScreen(write, wording, lambda: clock_s() - began_s, bar=False))
    # The session is made below, and shows what the journal and the keeping have to say.
    rescue = None
    if not store.is_encrypted:
        rescue = RescuingJournal(store, opened, lambda text: session.warn(text))  # noqa: PLW0108
    journal = StoredJournal(store, opened.row.id) if rescue is None else rescue
    here = sound.here or Here(certainty_of(pack, sound.model))
    certainty = here.certainty

    def meaning(rule: str, text: str) -> Intent | NotUnderstood:
        return understand(pack.grammar.parser(rule, sites), text.split())

    keeping = Keeping(store, opened, lambda line: session.notice(line))  # noqa: PLW0108
    session = Session(
        lambda audience: Road(opened.visit, pack.grammar, journal, audience, local_time, certainty),
        wording,
        SilentVoice(),
        bindings,
        clock_s,
        understand=meaning,
        watcher=watcher,
        preferences=sound.preferences,
        keep=keeping.keep,
    )
    hearing = None
    if source is not None:
        duplex = HalfDuplex(source.now_s, sound.settings.echo_tail_s)
        hearing = Hearing(
            source,
            duplex,
            lambda: _ear(pack, sites, sound.model),
            session.post,
            hand_over_sound=keeping.on,
        )
        session.ear = hearing
    else:
        duplex = HalfDuplex(echo_tail_s=sound.settings.echo_tail_s)
    session.voice = open_voice(
        sound.settings, PortAudio(), duplex, session.report, pack.folder / "prompts"
    )
    company = Company(
        session,
        opened,
        hearing,
        bindings,
        keeping=keeping,
        rescue=rescue,
        room=here.line,
        unsure=_unsure(pack, sound),
    )
    session.status = lambda: status_lines(company.view())
    listed = [site.id for site in protocol.sites]
    # Making every sentence of the grammar takes seconds; the screen does not wait for it.
    company.phrases = threading.Thread(
        target=lambda: company.may_say.update(examples(pack.grammar, listed)), daemon=True
    )
    company.phrases.start()
    return company


def _unsure(pack: Pack, sound: Sound) -> str:
    if sound.source is None:
        return ""
    trouble = certainty_trouble(pack.folder, sound.model)
    return "" if trouble is None else f"{trouble.message} More than usual is asked about."


def _ear(pack: Pack, sites: set[str], model: Path | None) -> tuple[str, Listeners]:
    rules = [
        rule
        for rule in pack.grammar.rules
        if rule.startswith(LISTENING) and rule != LISTENING + ANYTHING
    ]
    name = f"{pack.folder.name} strict" if model is None else f"{model.name} phrases"
    return name, open_ear(pack, rules, sites, model)


def run_screen(company: Company) -> None:
    """Run the session full-screen until it is left."""
    letters = company.session.preferences.letters
    ascii_only = None if letters is Letters.AUTO else letters is Letters.ASCII
    screen = Screen(company, ascii_only=ascii_only)
    company.session.wake = screen.wake
    with native_messages_logged():
        try:
            company.begin()
            screen.run()
        finally:
            company.close()


def run_lines(company: Company, lines: Iterator[str], *, patient: bool) -> None:
    """Run the session in line mode: one line an event, typed lines in.

    `patient`: an Enter that comes at once after another is a bounce of the key.
    """
    session = company.session
    if not patient:
        session.turns.bounce_s = 0.0
    ended = threading.Event()

    def read() -> None:
        for line in lines:
            session.type(line)
        ended.set()

    for name in ("SIGHUP", "SIGTERM"):
        with suppress(AttributeError, ValueError):
            signal.signal(getattr(signal, name), lambda *_: setattr(session, "over", True))
    try:
        company.begin()
        threading.Thread(target=read, daemon=True).start()
        while not session.over and session.visit.signed_at is None:
            last = ended.is_set()
            session.wait(LINE_WAIT_S)
            if last and session.idle and _no_more_sound(company):
                return
    finally:
        company.close()


def _no_more_sound(company: Company) -> bool:
    """Whether nothing can be said any more: no model, no microphone, or the recording is over."""
    microphone = company.session.shown.microphone
    return (
        company.hearing is None
        or company.session.shown.ear_trouble is not None
        or (microphone is not None and microphone.state in {MicState.ENDED, MicState.DEAF})
    )


@contextmanager
def native_messages_logged() -> Iterator[None]:
    """Send what native libraries print to a file: it would tear the screen.

    PortAudio writes to file descriptor 2 when a device dies in the middle of a session.
    """
    try:
        folder = platformdirs.user_log_path("foldcall", appauthor=False)
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        number = os.open(folder / "native.log", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    except OSError:
        number = os.open(os.devnull, os.O_WRONLY)
    try:
        kept = os.dup(2)
    except OSError:
        os.close(number)
        yield
        return
    os.dup2(number, 2)
    os.close(number)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
