"""`foldcall check`: can a session with voice be held on this machine? One line for each thing.

Every check is made, whatever the others find, and each failure has a hint. Nothing is changed
except what `--remember` asks for.
"""

import argparse
import platform
import shutil
from collections.abc import Callable, Iterable, Iterator
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from capture import __version__
from capture.errors import CaptureError, MisuseError
from capture.findings import Finding, Mark, guarded
from capture.keeping import LEAST_FREE_BYTES
from capture.pack_check import pack_findings, prompts_finding
from capture.packs import chosen_pack, own_folder, pack_option, usual_folder
from capture.preferences import read_preferences
from capture.protocol.caliper import caliper_warnings
from capture.recognise.quiet import native_messages
from capture.screen.keymap import TABLE as KEYS_TABLE
from capture.screen.keymap import bindings_from
from capture.settings_file import read_settings, settings_path, write_table
from capture.settings_table import Settings
from capture.sound.devices import SoundSystem, Wanted
from capture.sound.portaudio import PortAudio
from capture.sound.settings import TABLE as SOUND_TABLE
from capture.sound.settings import SoundSettings, read_sound_settings, sound_entries
from capture.sound.system_speech import find_system_speech
from capture.sound.trial import (
    SoundTrial,
    echo_finding,
    learnt,
    microphone_finding,
    speaker_finding,
)
from capture.sound.voice import VoiceKind
from capture.store import default_store_path
from capture.store.calipers import KeptCaliper
from capture.store.sounds import sounds_of
from capture.terminal import show
from capture.unlock import open_unlocked
from capture.voice_checking import add_options as add_voice_options
from capture.voice_checking import voice_command
from capture.voice_kept import KeptCheck, here, kept_check
from capture.voice_verdict import Trust, trust
from capture.wiring import Write, certainty_at, default_folder, local_time
from capture.wording.counted import counted

PACKAGES = ("vosk", "sounddevice", "soundfile", "numpy", "sqlite-utils", "prompt_toolkit")


def run(
    write: Write,
    *,
    system: SoundSystem | None = None,
    settings: SoundSettings | None = None,
    pack: Path | None = None,
    model: Path | None = None,
    store: Path | None = None,
    microphone: Wanted = None,
    speaker: Wanted = None,
    remember: Path | None = None,
) -> bool:
    """Check everything and write a line for each; whether a session with voice can be held.

    What is not given is the machine's own. `pack` is the folder of a language pack of one's own;
    without one, the pack that comes with the program is looked at. `remember` names the settings
    file that shall keep the devices found and the echo measured.
    """
    findings: list[Finding] = []

    def tell(finding: Finding) -> None:
        findings.append(finding)
        write(finding.line())

    own, kept = settings is None, None
    if settings is None:
        settings = SoundSettings()
        for found in _settings():
            if isinstance(found, SoundSettings):
                settings = found
            elif isinstance(found, KeptCheck):
                kept = found
            else:
                tell(Finding(Mark.FAILED, "settings", found.message, found.hint))
    sound = SoundTrial(system or PortAudio(), settings)
    try:
        for finding in _sound_findings(sound, microphone, speaker):
            tell(finding)
    finally:
        if sound.microphone is not None:
            sound.microphone.close()
    checks: tuple[Iterator[Finding], ...] = (
        _pack_findings(pack, model, settings),
        _room_findings(kept, pack, model, sound) if own else iter(()),
        _store_findings(store or default_store_path()),
        _versions(),
    )
    for check in checks:
        for finding in check:
            tell(finding)
    failed = [each.what for each in findings if each.needed and each.mark is Mark.FAILED]
    write(_verdict(failed))
    if remember is not None:
        write_table(remember, SOUND_TABLE, sound_entries(learnt(sound)))
        write(f"The devices are remembered in {remember}.")
    return not failed


def _settings() -> Iterator[SoundSettings | KeptCheck | CaptureError]:
    """Sound and voice check as far as they can be read, and what is wrong in any table."""
    try:
        settings = read_settings(settings_path())
    except CaptureError as error:
        yield error
        return
    readers: tuple[Callable[[Settings], object], ...] = (
        read_sound_settings,
        read_preferences,
        kept_check,
        lambda found: bindings_from(found.table(KEYS_TABLE).entries, found.file),
        lambda found: own_folder(None, found),
    )
    for reader in readers:
        try:
            found = reader(settings)
        except CaptureError as error:
            yield error
        else:
            if isinstance(found, SoundSettings | KeptCheck):
                yield found


def _verdict(failed: list[str]) -> str:
    if not failed:
        return "A session with voice can be held."
    if "store" in failed:
        return "No session can be held: what is measured could not be saved."
    return f"Only the keypad works: see {', '.join(dict.fromkeys(failed))} above."


def _sound_findings(sound: SoundTrial, microphone: Wanted, speaker: Wanted) -> Iterator[Finding]:
    with native_messages():
        # Sound libraries write to the terminal on their own; our lines say what matters.
        yield microphone_finding(sound, microphone)
        if sound.settings.voice is VoiceKind.SILENT:
            told = "not needed: the voice is set to silent."
            yield Finding(Mark.OK, "speaker", told, needed=False)
        else:
            yield speaker_finding(sound, speaker)
            yield echo_finding(sound)


def _pack_findings(
    pack: Path | None, model: Path | None, settings: SoundSettings
) -> Iterator[Finding]:
    try:
        folder = pack or default_folder()
    except CaptureError as error:
        yield Finding(Mark.FAILED, "language", error.message, error.hint)
        return
    yield from pack_findings(folder, model, own=pack is not None)
    yield guarded("voice", lambda: _voice(folder, settings), needed=False)


def _voice(pack: Path, settings: SoundSettings) -> Finding:
    match settings.voice:
        case VoiceKind.BANK:
            return prompts_finding(pack)
        case VoiceKind.SYSTEM:
            speech = find_system_speech()
            speech.speak("one")
            told = f"the system's own: {speech.name}."
        case _:
            told = f"{settings.voice}: numbers are only on the screen."
    return Finding(Mark.OK, "voice", told, needed=False)


def _room_findings(
    kept: KeptCheck | None, pack: Path | None, model: Path | None, sound: SoundTrial
) -> Iterator[Finding]:
    """The voice check that is kept, and whether it says anything about this microphone."""

    def check() -> Finding:
        if kept is None:
            hint = "'foldcall check --voice' takes two minutes."
            return Finding(Mark.NOTE, "room", "no voice check is kept.", hint, needed=False)
        device = None if sound.microphone is None else sound.microphone.device
        name = None if device is None else device.name
        held = here(kept, certainty_at(pack or default_folder(), model), name)
        good = held.counts and trust(kept.tally) is not Trust.KEYPAD
        return Finding(Mark.OK if good else Mark.NOTE, "room", held.line, needed=False)

    yield guarded("room", check, needed=False)


def _store_findings(path: Path) -> Iterator[Finding]:
    kept: list[KeptCaliper] = []  # read at the one opening: a passphrase is asked for once
    yield guarded("store", lambda: _store(path, kept))
    yield from _calipers(kept)
    yield guarded("disk", lambda: _disk(path))


def _store(path: Path, kept: list[KeptCaliper]) -> Finding:
    with open_unlocked(path) as store:
        problems = store.check()
        visits = len(store.open_visits())
        kept.extend(store.calipers())
    if problems:
        hint = "Take a copy of the file before anything else."
        return Finding(Mark.FAILED, "store", f"{path}: {problems[0]}.", hint)
    told = f"{path} can be written" + (f"; {visits} open visits." if visits else ".")
    return Finding(Mark.OK, "store", told)


def _calipers(kept: Iterable[KeptCaliper]) -> Iterator[Finding]:
    """One line for each caliper in use: its last check with gauge blocks, or what is due."""
    for each in kept:
        if not each.in_use:
            continue
        caliper = each.caliper
        warnings = caliper_warnings(caliper, local_time()[:10])
        told = f"{caliper.description}: "
        if warnings:
            hint = "See 'foldcall caliper'."
            yield Finding(Mark.NOTE, "caliper", told + " ".join(warnings), hint, needed=False)
        elif caliper.check is not None:
            told += f"checked with gauge blocks on {caliper.check.on}."
            yield Finding(Mark.OK, "caliper", told, needed=False)


def _disk(path: Path) -> Finding:
    folder = next(each for each in (path.resolve(), *path.resolve().parents) if each.is_dir())
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        raise CaptureError(f"The disk cannot be asked: {error.strerror}.") from error
    told = f"{free / 1e9:.1f} GB free."
    kept = sounds_of(path.resolve()).amount()
    if kept.calls:
        told = f"{told} {kept.bytes / 1e6:.1f} MB of kept sound of {counted(kept.visits, 'visit')}."
    if free < LEAST_FREE_BYTES:
        return Finding(Mark.FAILED, "disk", told, "Make room before a session.")
    return Finding(Mark.OK, "disk", told)


def _versions() -> Iterator[Finding]:
    found = [f"foldcall {__version__}", f"Python {platform.python_version()}"]
    for package in PACKAGES:
        try:
            found.append(f"{package} {version(package)}")
        except PackageNotFoundError:
            found.append(f"{package} missing")
    found.append(f"{platform.system()} {platform.release()}")
    yield Finding(Mark.OK, "versions", ", ".join(found), needed=False)


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `check` to the commands."""
    parser = commands.add_parser(
        "check", help="say whether microphone, speaker, recogniser and store are ready"
    )
    parser.add_argument("--microphone", metavar="NAME", help="a microphone, by number or name")
    parser.add_argument("--speaker", metavar="NAME", help="a speaker, by number or name")
    parser.add_argument("--store", metavar="FILE", type=Path, help="where visits are saved")
    parser.add_argument("--model", metavar="DIR", type=Path, help="another Vosk model folder")
    pack_option(parser)
    parser.add_argument(
        "--remember",
        action="store_true",
        help="use these devices, or this voice check, from now on",
    )
    add_voice_options(parser)
    parser.set_defaults(command=_command)


def _command(chosen: argparse.Namespace) -> int:
    for name in (chosen.microphone, chosen.speaker):
        if name is not None and not name.strip():
            raise MisuseError("A device name is empty.", "Give a number or a part of its name.")
    if chosen.voice:
        return voice_command(chosen, chosen_pack(chosen.pack, read_settings(settings_path())))
    if chosen.from_wav is not None or chosen.plain:
        raise MisuseError("--from-wav and --plain are for a voice check.", "Add --voice.")
    ready = run(
        show,
        pack=usual_folder(chosen.pack),
        model=chosen.model,
        store=chosen.store,
        microphone=chosen.microphone,
        speaker=chosen.speaker,
        remember=settings_path() if chosen.remember else None,
    )
    return 0 if ready else 1
