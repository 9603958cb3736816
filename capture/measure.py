"""`foldcall measure`: a visit live, by voice and keypad. What the command line asks for."""

import argparse
import sys
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path

from capture.begin import Wish, open_visit
from capture.company import Company, Sound, assemble, run_lines, run_screen
from capture.composition.client import ClientDefaults
from capture.composition.options import body_of
from capture.errors import CaptureError, MisuseError
from capture.packs import chosen_pack, pack_option
from capture.preferences import CONFIRMATIONS, Preferences, read_preferences
from capture.recognise.quiet import native_messages
from capture.report.summary import summary_lines, visit_result_of
from capture.rescue import RescueError
from capture.rescued import take_back, waiting
from capture.screen.keymap import TABLE, Bindings, bindings_from, help_lines
from capture.settings_file import read_settings, settings_path
from capture.settings_table import Settings
from capture.sound.devices import ByName, Kind, choose
from capture.sound.microphone import Microphone
from capture.sound.portaudio import PortAudio
from capture.sound.recorded import WavSource
from capture.sound.settings import SoundSettings, read_sound_settings
from capture.sound.source import Source
from capture.sound.voice import VoiceKind
from capture.store import Store, StoreError, StoreLockedError, default_store_path
from capture.terminal import show
from capture.unlock import open_unlocked
from capture.voice_kept import here as here_with
from capture.voice_kept import kept_check
from capture.wiring import certainty_of, local_time
from capture.wording.counted import counted


def read_bindings(settings: Settings) -> Bindings:
    """The keys of the settings file. Raises KeysError."""
    return bindings_from(settings.table(TABLE).entries, settings.file)


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `measure` to the commands."""
    parser = commands.add_parser("measure", help="measure a client live, by voice and keypad")
    parser.add_argument("--client", metavar="NAME", required=True, help="who is measured")
    parser.add_argument("--assessor", metavar="NAME", required=True, help="who measures")
    parser.add_argument("--sex", choices=["female", "male"], help="needed for a new client")
    parser.add_argument("--age", metavar="YEARS", type=int, help="age, or give a birth date")
    parser.add_argument("--weight", metavar="KG", help="body weight on the day")
    parser.add_argument("--height", metavar="CM", help="body height on the day")
    parser.add_argument("--birth-date", metavar="DATE", help="such as 1985-03-31")
    parser.add_argument(
        "--protocol",
        metavar="NAME",
        help="which sites, or a TOML file (default: the last visit's, else seven_sites)",
    )
    parser.add_argument(
        "--caliper",
        metavar="NAME",
        help="a caliper of 'foldcall caliper list' (default: the last visit's, or the only one)",
    )
    parser.add_argument(
        "--caliper-step",
        metavar="MM",
        type=float,
        help="mm from mark to mark of the caliper's scale (default: 0.2)",
    )
    parser.add_argument(
        "--caliper-opening",
        metavar="MM",
        type=float,
        help="mm that the caliper opens (default: 80)",
    )
    parser.add_argument("--new", action="store_true", help="begin anew beside an unfinished visit")
    parser.add_argument("--store", metavar="FILE", type=Path, help="where visits are saved")
    parser.add_argument("--microphone", metavar="NAME", help="a microphone, by number or name")
    parser.add_argument("--no-microphone", action="store_true", help="keypad only")
    parser.add_argument("--push-to-talk", action="store_true", help="listen after the talk key")
    parser.add_argument(
        "--confirm",
        choices=[*CONFIRMATIONS],
        help="what makes a reading count: each its yes (default), or the call of the next site",
    )
    parser.add_argument(
        "--from-wav", metavar="FILE", type=Path, help="a recording in the microphone's place"
    )
    parser.add_argument("--fast", action="store_true", help="the recording as fast as it goes")
    parser.add_argument(
        "--keep-sound",
        action=argparse.BooleanOptionalAction,
        help="the client agreed that the sound of calls is kept until the sign-off by name",
    )
    parser.add_argument("--plain", action="store_true", help="one line an event, no full screen")
    quiet = parser.add_mutually_exclusive_group()
    quiet.add_argument("--silent", action="store_true", help="neither speech nor tones")
    quiet.add_argument("--beep", action="store_true", help="tones, no speech")
    pack_option(parser)
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
    settings = read_settings(settings_path())
    sound_settings = read_sound_settings(settings)
    if chosen.silent or chosen.fast:
        sound_settings = replace(sound_settings, voice=VoiceKind.SILENT)
    elif chosen.beep:
        sound_settings = replace(sound_settings, voice=VoiceKind.BEEP)
    bindings = read_bindings(settings)
    pack = chosen_pack(chosen.pack, settings)
    liked = _preferences(chosen, settings)
    kept = kept_check(settings)
    source = _source(chosen, sound_settings, settled=kept is not None)
    here = None
    if kept is not None and source is not None:
        here = here_with(kept, certainty_of(pack, chosen.model), _name_of(source))
    sound = Sound(source, sound_settings, chosen.model, liked, here)
    wish = Wish(
        chosen.client,
        chosen.assessor,
        chosen.sex,
        chosen.age,
        chosen.birth_date,
        chosen.protocol,
        caliper=chosen.caliper,
        caliper_step_mm=chosen.caliper_step,
        caliper_opening_mm=chosen.caliper_opening,
        new=chosen.new,
        keep_sound=chosen.keep_sound,
        body=body_of(chosen.weight, chosen.height, None),
        confirmation=liked.confirmation,
    )
    with _open(chosen.store or default_store_path()) as store:
        store.sweep_sounds(at=local_time())
        _take_back(store)
        opened = open_visit(store, wish, date.today(), local_time())
        if chosen.plain:
            _plain(assemble(store, opened, pack, sound, bindings, show))
        else:
            company = assemble(store, opened, pack, sound, bindings)
            run_screen(company)
            for line in results_of(company):
                show(line)
            show(_parting(company, store))
    return 0


def _preferences(chosen: argparse.Namespace, settings: Settings) -> Preferences:
    """The settings, and what the command line says instead."""
    found = read_preferences(settings)
    if chosen.push_to_talk:
        found = replace(found, push_to_talk=True)
    if chosen.confirm is not None:
        found = replace(found, confirmation=CONFIRMATIONS[chosen.confirm])
    return found


def _open(path: Path) -> Store:
    """Open the store, and say how to measure meanwhile if it is there and cannot be used."""
    try:
        return open_unlocked(path)
    except StoreLockedError:
        raise
    except StoreError as error:
        if not path.is_file():
            raise
        meanwhile = "To measure meanwhile, name another file: --store; 'foldcall merge' takes it in"
        raise StoreError(error.message, f"{error.hint} {meanwhile} later.") from error


def _take_back(store: Store) -> None:
    """Offer what an earlier session could not write into the store."""
    for found in waiting(store):
        if isinstance(found, CaptureError):
            show(f"! {found}")
            continue
        show(f"{found.count} calls of the visit of {found.date} wait in {found.path}.")
        if sys.stdin.isatty():
            show("Take them into the store? Enter takes them, n leaves them:")
            if sys.stdin.readline().strip().lower() not in {"", "y", "yes"}:
                show("They stay there, and are asked for again at the next start.")
                continue
        try:
            show(take_back(store, found))
        except RescueError as error:
            show(f"! {error}")


def _plain(company: Company) -> None:
    show("Type 'status' for where the visit stands, 'note' and a text for a note.")
    show("Keys, each as a line of its own; an empty line is Enter:")
    for keys, does, spoken in help_lines(company.bindings):
        said = f' (said: "{spoken}")' if spoken else ""
        show(f"  {keys}: {does}{said}")
    run_lines(company, (line.rstrip("\n") for line in sys.stdin), patient=sys.stdin.isatty())
    for line in results_of(company):
        show(line)
    show(_end_of(company))


def _parting(company: Company, store: Store) -> str:
    told = _end_of(company)
    return told if company.session.shown.warning else f"{told} It is in {store.path}."


def results_of(company: Company) -> tuple[str, ...]:
    """What a visit that was signed off comes to, as far as the client is shown it."""
    visit = company.session.visit
    if visit.signed_at is None or not visit.confirmed:
        return ()
    defaults = ClientDefaults.as_far_as_known(company.opened.row.client.choices)
    found = visit_result_of(visit, defaults)
    return ("", *summary_lines(visit, found, show_fat=defaults.show_fat_percent), "")


def _end_of(company: Company) -> str:
    visit, warning = company.session.visit, company.session.shown.warning
    count = len(visit.confirmed)
    readings = counted(count, "reading")
    if visit.signed_at is not None:
        told = f"The visit is signed off with {readings}."
    else:
        told = f"The visit is open with {readings}; it goes on at the next start."
    return f"{told} {warning} The next start takes them in." if warning else told


def _source(chosen: argparse.Namespace, settings: SoundSettings, *, settled: bool) -> Source | None:
    """Where sound comes from; `settled`: the microphone's whole name is wanted from the start."""
    if chosen.from_wav is not None:
        return WavSource(chosen.from_wav, realtime=not chosen.fast)
    if chosen.no_microphone:
        return None
    system, wanted = PortAudio(), chosen.microphone or settings.microphone
    if settled:
        with native_messages(), suppress(CaptureError):  # what is not there now may come later
            device = choose(system.devices(), wanted, Kind.MICROPHONE)
            wanted = ByName(device.name, device.host)
    return Microphone(system, wanted)


def _name_of(source: Source) -> str | None:
    """The name of what will be heard with; None for a microphone that is not there yet."""
    settled = not isinstance(source, Microphone) or isinstance(source.wanted, ByName)
    return source.name if settled else None
