"""`foldcall measure`: a visit live, by voice and keypad. Puts the session together."""

import argparse
import os
import signal
import sys
import threading
import time
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import platformdirs

from capture import __version__
from capture.composition.forms import Sex
from capture.errors import MisuseError
from capture.hearing import Hearing, Listeners
from capture.language.grammar import LISTENING, Grammar, understand
from capture.language.intents import Intent, NotUnderstood
from capture.pack import Pack
from capture.protocol.caliper import Caliper
from capture.protocol.protocol import PROTOCOLS
from capture.recognise.port import Heard
from capture.report.summary import visit_result_of
from capture.road import Road
from capture.screen.app import Screen
from capture.screen.keymap import TABLE, Bindings, KeysError, bindings_from, help_lines
from capture.screen.plain import PlainScreen
from capture.screen.view import View
from capture.session import Session
from capture.showing import view_of
from capture.sound.duplex import HalfDuplex
from capture.sound.microphone import Microphone
from capture.sound.opening import open_voice
from capture.sound.portaudio import PortAudio
from capture.sound.recorded import WavSource
from capture.sound.settings import SoundSettings, read_sound_settings, settings_path
from capture.sound.source import MicState, Source
from capture.sound.voice import SilentVoice, VoiceKind
from capture.store import Store, default_store_path, open_store
from capture.store.rows import Assessor, Client, VisitRow
from capture.visit.announcement import Announcement
from capture.visit.call import Call
from capture.visit.replay import replay
from capture.visit.state import Plan, Visit
from capture.wiring import StoredJournal, Write, default_pack, local_time, open_ear
from capture.wording.english import English
from capture.wording.help import TITLES, phrase_lines
from capture.wording.numbers import NumberWords

USUAL_STEP_MM, USUAL_OPENING_MM = 0.2, 80.0
LINE_WAIT_S = 0.2
ANYTHING = "anything"


@dataclass(frozen=True, slots=True)
class Wish:
    """What the command line asks for."""

    client: str
    assessor: str
    sex: str | None = None
    age_years: int | None = None
    birth_date: str | None = None
    protocol: str | None = None
    caliper_step_mm: float = USUAL_STEP_MM
    caliper_opening_mm: float = USUAL_OPENING_MM
    new: bool = False


@dataclass(frozen=True, slots=True)
class Opened:
    """A visit that was begun, or taken up again where it was left."""

    row: VisitRow
    visit: Visit
    resumed: bool


def open_visit(store: Store, wish: Wish, today: date, at: str) -> Opened:
    """Take up the client's unfinished visit, or begin one.

    `today` gives the age from a birth date. Raises MisuseError for what is missing or wrong,
    StoreError and ReplayError for a store that cannot be used.
    """
    client = store.find_client(wish.client)
    if client is not None and not wish.new:
        for row in store.open_visits():
            if row.client.id == client.id:
                plan = Plan.from_plain(row.plan)
                return Opened(row, replay(plan, store.entries(row.id)), True)
    plan = _plan(wish, client, today)
    if client is None:
        client = store.add_client(
            wish.client, sex=plan.sex.value, at=at, birth_date=wish.birth_date
        )
    assessor: Assessor = store.find_assessor(wish.assessor) or store.add_assessor(
        wish.assessor, at=at
    )
    row = store.begin_visit(
        client.id, assessor.id, at=at, plan=plan.to_plain(), program_version=__version__
    )
    return Opened(row, Visit(plan), False)


def _plan(wish: Wish, client: Client | None, today: date) -> Plan:
    protocols = list(PROTOCOLS)
    name = wish.protocol or protocols[0]
    if name not in PROTOCOLS:
        raise MisuseError(f"There is no protocol '{name}'.", f"Choose of: {', '.join(protocols)}.")
    sex = wish.sex or (None if client is None else client.sex)
    if sex is None:
        raise MisuseError("The client is new.", "Add --sex female or --sex male.")
    if client is not None and sex != client.sex:
        raise MisuseError(
            f"The store has this client as {client.sex}.", "Leave --sex out, or mend the store."
        )
    step, opening = _tenths(wish.caliper_step_mm, "step"), _tenths(wish.caliper_opening_mm, "open")
    return Plan(
        PROTOCOLS[name],
        Caliper(f"caliper in steps of {step / 10:g} mm to {opening / 10:g} mm", step, opening),
        Sex(sex),
        _age_years(wish, client, today),
    )


def _tenths(length_mm: float, what: str) -> int:
    tenths = round(length_mm * 10)
    if not 1 <= tenths <= 999 or abs(tenths - length_mm * 10) > 1e-6:
        name = "--caliper-step" if what == "step" else "--caliper-opening"
        raise MisuseError(f"{name} {length_mm:g} is no such length.", "Give tenths of a mm: 0.2.")
    return tenths


def _age_years(wish: Wish, client: Client | None, today: date) -> int:
    born = wish.birth_date or (None if client is None else client.birth_date)
    if wish.age_years is not None:
        age = wish.age_years
    elif born is not None:
        try:
            day = date.fromisoformat(born)
        except ValueError as error:
            raise MisuseError(f"'{born}' is no date.", "Write it as 1985-03-31.") from error
        age = today.year - day.year - ((today.month, today.day) < (day.month, day.day))
    else:
        raise MisuseError("The client's age is not known.", "Add --age or --birth-date.")
    if not 5 <= age <= 110:
        raise MisuseError(f"An age of {age} years cannot be.", "Check --age or --birth-date.")
    return age


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

    # The screen's stage.

    def view(self) -> View:
        """What is to be seen now."""
        row = self.opened.row
        meter = None if self.hearing is None else self.hearing.meter
        return view_of(self.session, row.client.name, row.assessor.name, self.may_say, meter)

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
        if self.opened.resumed:
            self.session.notice("The unfinished visit of this client goes on where it was left.")
        self.session.open()
        if self.hearing is not None:
            self.hearing.start()

    def close(self) -> None:
        """Let go of microphone and speaker. The journal is safe already."""
        self.session.wake = lambda: None
        if self.hearing is not None:
            self.hearing.stop()
        self.session.voice.close()


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
    push_to_talk: bool = False


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
        watcher = _LineWatcher(PlainScreen(write, wording, lambda: clock_s() - began_s))
    journal = StoredJournal(store, opened.row.id)

    def meaning(rule: str, text: str) -> Intent | NotUnderstood:
        return understand(pack.grammar.parser(rule, sites), text.split())

    def stepped(visit: Visit) -> None:
        if visit.signed_at is not None and not store.results(opened.row.id):
            result = visit_result_of(visit).to_plain()
            store.add_result(opened.row.id, at=local_time(), sequence=visit.sequence, result=result)

    session = Session(
        lambda audience: Road(opened.visit, pack.grammar, journal, audience, local_time),
        wording,
        SilentVoice(),
        bindings,
        clock_s,
        understand=meaning,
        watcher=watcher,
        push_to_talk=sound.push_to_talk,
        stepped=stepped,
    )
    hearing = None
    if source is not None:
        duplex = HalfDuplex(source.now_s, sound.settings.echo_tail_s)
        hearing = Hearing(source, duplex, lambda: _ear(pack, sites, sound.model), session.post)
        session.ear = hearing
    else:
        duplex = HalfDuplex(echo_tail_s=sound.settings.echo_tail_s)
    session.voice = open_voice(
        sound.settings, PortAudio(), duplex, session.report, pack.folder / "prompts"
    )
    company = Company(session, opened, hearing, bindings)
    listed = [site.id for site in protocol.sites]
    # Making every sentence of the grammar takes seconds; the screen does not wait for it.
    threading.Thread(
        target=lambda: company.may_say.update(examples(pack.grammar, listed)), daemon=True
    ).start()
    return company


def _ear(pack: Pack, sites: set[str], model: Path | None) -> tuple[str, Listeners]:
    rules = [
        rule
        for rule in pack.grammar.rules
        if rule.startswith(LISTENING) and rule != LISTENING + ANYTHING
    ]
    name = f"{pack.folder.name} strict" if model is None else f"{model.name} phrases"
    return name, open_ear(pack, rules, sites, model)


def read_bindings(path: Path) -> Bindings:
    """The keys of the settings file. Raises KeysError or SettingsError."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8")).get(TABLE, {})
    except FileNotFoundError:
        table = {}
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise KeysError(f"The settings in {path} cannot be read: {error}.", "Mend it.") from error
    if not isinstance(table, Mapping):
        raise KeysError(f"The setting '{TABLE}' in {path} is no table.", f"Write [{TABLE}].")
    return bindings_from(table, str(path))


def run_screen(company: Company) -> None:
    """Run the session full-screen until it is left."""
    screen = Screen(company)
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
        session.bounce_s = 0.0
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
    microphone = company.session.shown.microphone
    return (
        company.hearing is None
        or company.session.shown.ear_trouble is not None
        or (microphone is not None and microphone.state is MicState.ENDED)
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


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `measure` to the commands."""
    parser = commands.add_parser("measure", help="measure a client live, by voice and keypad")
    parser.add_argument("--client", metavar="NAME", required=True, help="who is measured")
    parser.add_argument("--assessor", metavar="NAME", required=True, help="who measures")
    parser.add_argument("--sex", choices=["female", "male"], help="needed for a new client")
    parser.add_argument("--age", metavar="YEARS", type=int, help="age, or give a birth date")
    parser.add_argument("--birth-date", metavar="DATE", help="such as 1985-03-31")
    parser.add_argument("--protocol", metavar="NAME", help="which sites (default: the first)")
    parser.add_argument(
        "--caliper-step",
        metavar="MM",
        type=float,
        default=USUAL_STEP_MM,
        help="mm from mark to mark of the caliper's scale (default: 0.2)",
    )
    parser.add_argument(
        "--caliper-opening",
        metavar="MM",
        type=float,
        default=USUAL_OPENING_MM,
        help="mm that the caliper opens (default: 80)",
    )
    parser.add_argument("--new", action="store_true", help="begin anew beside an unfinished visit")
    parser.add_argument("--store", metavar="FILE", type=Path, help="where visits are saved")
    parser.add_argument("--microphone", metavar="NAME", help="a microphone, by number or name")
    parser.add_argument("--no-microphone", action="store_true", help="keypad only")
    parser.add_argument("--push-to-talk", action="store_true", help="listen after the talk key")
    parser.add_argument(
        "--from-wav", metavar="FILE", type=Path, help="a recording in the microphone's place"
    )
    parser.add_argument("--fast", action="store_true", help="the recording as fast as it goes")
    parser.add_argument("--plain", action="store_true", help="one line an event, no full screen")
    quiet = parser.add_mutually_exclusive_group()
    quiet.add_argument("--silent", action="store_true", help="neither speech nor tones")
    quiet.add_argument("--beep", action="store_true", help="tones, no speech")
    parser.add_argument("--model", metavar="DIR", type=Path, help="another Vosk model folder")
    parser.set_defaults(command=_command)


def _command(chosen: argparse.Namespace) -> int:
    if not chosen.plain and not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise MisuseError("The screen needs a terminal.", "Add --plain for one line an event.")
    if chosen.fast and chosen.from_wav is None:
        raise MisuseError("--fast is for a recording.", "Add --from-wav FILE.")
    for name in (chosen.client, chosen.assessor):
        if not name.strip():
            raise MisuseError("A name is empty.", "Give --client and --assessor.")
    settings = read_sound_settings(settings_path())
    if chosen.silent or chosen.fast:
        settings = replace(settings, voice=VoiceKind.SILENT)
    elif chosen.beep:
        settings = replace(settings, voice=VoiceKind.BEEP)
    bindings = read_bindings(settings_path())
    pack = default_pack()
    sound = Sound(_source(chosen, settings), settings, chosen.model, chosen.push_to_talk)
    wish = Wish(
        chosen.client,
        chosen.assessor,
        chosen.sex,
        chosen.age,
        chosen.birth_date,
        chosen.protocol,
        chosen.caliper_step,
        chosen.caliper_opening,
        chosen.new,
    )
    with open_store(chosen.store or default_store_path()) as store:
        opened = open_visit(store, wish, date.today(), local_time())
        if chosen.plain:
            _plain(assemble(store, opened, pack, sound, bindings, _print))
        else:
            company = assemble(store, opened, pack, sound, bindings)
            run_screen(company)
            _print(_parting(company, store))
    return 0


def _print(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def _plain(company: Company) -> None:
    _print("Keys, each as a line of its own; an empty line is Enter:")
    for keys, does, spoken in help_lines(company.bindings):
        said = f' (said: "{spoken}")' if spoken else ""
        _print(f"  {keys}: {does}{said}")
    run_lines(company, (line.rstrip("\n") for line in sys.stdin), patient=sys.stdin.isatty())
    visit = company.session.visit
    _print(_end_of(visit))


def _parting(company: Company, store: Store) -> str:
    return f"{_end_of(company.session.visit)} It is in {store.path}."


def _end_of(visit: Visit) -> str:
    count = len(visit.confirmed)
    if visit.signed_at is not None:
        return f"The visit is signed off with {count} readings."
    return f"The visit is open with {count} readings; it goes on at the next start."


def _source(chosen: argparse.Namespace, settings: SoundSettings) -> Source | None:
    if chosen.from_wav is not None:
        return WavSource(chosen.from_wav, realtime=not chosen.fast)
    if chosen.no_microphone:
        return None
    return Microphone(PortAudio(), chosen.microphone or settings.microphone)
