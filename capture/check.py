"""`foldcall check`: can a session with voice be held on this machine? One line for each thing.

Every check is made, whatever the others find, and each failure has a hint. Nothing is changed
except what `--remember` asks for.
"""

import argparse
import platform
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from capture import __version__
from capture.errors import CaptureError, MisuseError
from capture.language.grammar import LISTENING
from capture.pack import Pack
from capture.recognise.lexicon import parse_lexicon
from capture.recognise.quiet import native_messages
from capture.sound.clips import ClipBank, open_bank
from capture.sound.cues import Cue, tone
from capture.sound.devices import ByName, Kind, SoundSystem, Wanted, choose
from capture.sound.duplex import HalfDuplex
from capture.sound.echo import Heard, echo_tail_s
from capture.sound.errors import NoSoundLibraryError
from capture.sound.microphone import Microphone
from capture.sound.player import Player
from capture.sound.portaudio import PortAudio
from capture.sound.settings import (
    LONGEST_TAIL_S,
    SoundSettings,
    read_sound_settings,
    settings_path,
    write_sound_settings,
)
from capture.sound.source import MicState
from capture.sound.system_speech import find_system_speech
from capture.sound.voice import VoiceKind
from capture.store import default_store_path, open_store
from capture.wiring import Write, default_pack, open_ear

QUIET_BELOW_DBFS = -75.0
"""A microphone that hears a room is above this; below it the input is turned down or covered.
Common practice, no source."""

OVERDRIVEN_DBFS = -1.0
LEAST_FREE_BYTES = 200_000_000
"""Room for a thousand visits with their sound."""

LISTEN_S = 1.0
ECHO_WAIT_S = 1.2
MARGIN_S = 0.05
PACKAGES = ("vosk", "sounddevice", "soundfile", "numpy", "sqlite-utils", "prompt_toolkit")
STATE = "reading_wanted"


class Mark(StrEnum):
    """How a check went; words, so that colour is not needed."""

    OK = "ok"
    NOTE = "note"
    FAILED = "FAILED"


@dataclass(frozen=True, slots=True)
class Finding:
    """One line: what was looked at, how it is, what to do. `needed`: no voice without it."""

    mark: Mark
    what: str
    told: str
    hint: str = ""
    needed: bool = True

    def line(self) -> str:
        """The finding as it is written."""
        return f"{self.mark:<6}  {self.what:<10}  {self.told} {self.hint}".rstrip()


@dataclass(slots=True)
class _Sound:
    """The sound devices while they are checked, and what was learnt of them."""

    system: SoundSystem
    settings: SoundSettings
    microphone: Microphone | None = None
    speaker: ByName | None = None
    tail_s: float | None = None
    levels: list[Heard] = field(default_factory=list)


def run(
    write: Write,
    *,
    system: SoundSystem | None = None,
    settings: SoundSettings | None = None,
    pack: Pack | None = None,
    model: Path | None = None,
    store: Path | None = None,
    microphone: Wanted = None,
    speaker: Wanted = None,
    remember: Path | None = None,
) -> bool:
    """Check everything and write a line for each; whether a session with voice can be held.

    What is not given is the machine's own. `remember` names the settings file that shall keep the
    devices found and the echo measured.
    """
    findings: list[Finding] = []

    def tell(finding: Finding) -> None:
        findings.append(finding)
        write(finding.line())

    if settings is None:
        try:
            settings = read_sound_settings(settings_path())
        except CaptureError as error:
            tell(Finding(Mark.FAILED, "settings", error.message, error.hint))
            settings = SoundSettings()
    sound = _Sound(system or PortAudio(), settings)
    try:
        for finding in _sound_findings(sound, microphone, speaker):
            tell(finding)
    finally:
        if sound.microphone is not None:
            sound.microphone.close()
    checks: tuple[Iterator[Finding], ...] = (
        _pack_findings(pack, model, settings),
        _store_findings(store or default_store_path()),
        _versions(),
    )
    for check in checks:
        for finding in check:
            tell(finding)
    failed = [each.what for each in findings if each.needed and each.mark is Mark.FAILED]
    write(_verdict(failed))
    if remember is not None:
        write_sound_settings(remember, _learnt(sound))
        write(f"The devices are remembered in {remember}.")
    return not failed


def _verdict(failed: list[str]) -> str:
    if not failed:
        return "A session with voice can be held."
    if "store" in failed:
        return "No session can be held: what is measured could not be saved."
    return f"Only the keypad works: see {', '.join(failed)} above."


def _sound_findings(sound: _Sound, microphone: Wanted, speaker: Wanted) -> Iterator[Finding]:
    with native_messages():
        # Sound libraries write to the terminal on their own; our lines say what matters.
        yield _microphone(sound, microphone)
        if sound.settings.voice is VoiceKind.SILENT:
            told = "not needed: the voice is set to silent."
            yield Finding(Mark.OK, "speaker", told, needed=False)
        else:
            yield _speaker(sound, speaker)
            yield _echo(sound)


def _guarded(what: str, check: Callable[[], Finding], *, needed: bool = True) -> Finding:
    try:
        return check()
    except CaptureError as error:
        return Finding(Mark.FAILED, what, error.message, error.hint, needed)


def _microphone(sound: _Sound, wanted: Wanted) -> Finding:
    def check() -> Finding:
        if wanted is None:
            sound.microphone = Microphone(sound.system, sound.settings.microphone)
        else:
            sound.microphone = Microphone(sound.system, wanted)
        sound.microphone.open()
        _listen(sound, LISTEN_S)
        device = sound.microphone.device
        trouble = sound.microphone.trouble
        if trouble is not None or device is None or not sound.levels:
            raise trouble or NoSoundLibraryError
        level_dbfs = _middle([each.level_dbfs for each in sound.levels])
        told = f"'{device.name}' ({device.host}), {device.rate_hz} Hz, {level_dbfs:.0f} dBFS."
        if level_dbfs < QUIET_BELOW_DBFS:
            hint = "Very quiet: is it turned down, or covered?"
        elif level_dbfs > OVERDRIVEN_DBFS:
            hint = "Too loud: turn it down."
        elif sound.microphone.narrow:
            hint = "A narrow band: a wired microphone is heard better."
        elif sound.microphone.overruns:
            hint = "Sound was lost: end other programs."
        else:
            return Finding(Mark.OK, "microphone", told)
        return Finding(Mark.NOTE, "microphone", told, hint)

    return _guarded("microphone", check)


def _listen(sound: _Sound, seconds: float) -> None:
    """Gather levels for so long, measured in sound, or until the microphone gives no more."""
    microphone = sound.microphone
    if microphone is None:
        return
    heard_s = 0.0
    while heard_s < seconds and microphone.state not in {MicState.DEAF, MicState.CLOSED}:
        block = microphone.get(0.5)
        if block is not None:
            heard_s += block.duration_s
            sound.levels.append(Heard(block.ends_at_s, block.level_dbfs))


def _speaker(sound: _Sound, wanted: Wanted) -> Finding:
    def check() -> Finding:
        chosen = sound.settings.speaker if wanted is None else wanted
        device = choose(sound.system.devices(), chosen, Kind.SPEAKER)
        sound.speaker = ByName(device.name, device.host)
        # Opening it shows that it is neither busy nor gone.
        sound.system.open_output(device, device.rate_hz).close()
        return Finding(Mark.OK, "speaker", f"'{device.name}' ({device.host}), {device.rate_hz} Hz.")

    return _guarded("speaker", check)


def _echo(sound: _Sound) -> Finding:
    """Play a tone and find how long the microphone hears it."""

    def check() -> Finding:
        kept = f"{sound.settings.echo_tail_s:.2f} s of listening are left out after the voice."
        microphone = sound.microphone
        if microphone is None or microphone.state is MicState.DEAF or sound.speaker is None:
            return Finding(Mark.NOTE, "echo", f"not measured: {kept}", needed=False)
        failures: list[CaptureError] = []
        player = Player(sound.system, HalfDuplex(), failures.append, sound.speaker)
        began_s = microphone.now_s()
        length_s = player.play(lambda rate_hz: tone(Cue.ERROR, rate_hz), 0.5)
        player.wait(length_s + ECHO_WAIT_S)
        ended_s = microphone.now_s()
        _listen(sound, ended_s - began_s + ECHO_WAIT_S)
        player.close()
        if failures:
            raise failures[0]
        tail_s = echo_tail_s(sound.levels, began_s, ended_s)
        if tail_s is None:
            told = f"the microphone does not hear the speaker: {kept}"
            return Finding(
                Mark.NOTE, "echo", told, "Right with a headset; else turn the sound up.", False
            )
        sound.tail_s = tail_s
        told = f"ends {tail_s:.2f} s after the voice; {kept}"
        if tail_s <= sound.settings.echo_tail_s:
            return Finding(Mark.OK, "echo", told)
        hint = f"Set echo_tail_s to {tail_s + MARGIN_S:.2f}, or use --remember."
        return Finding(Mark.NOTE, "echo", told, hint)

    return _guarded("echo", check)


def _pack_findings(
    pack: Pack | None, model: Path | None, settings: SoundSettings
) -> Iterator[Finding]:
    try:
        pack = pack or default_pack()
        sites, words = len(pack.grammar.rules), pack.grammar.words
    except CaptureError as error:
        yield Finding(Mark.FAILED, "language", error.message, error.hint)
        return
    yield Finding(Mark.OK, "language", f"{pack.folder.name}: {sites} rules.")
    yield _guarded("lexicon", lambda: _lexicon(pack, words))
    yield _guarded("recogniser", lambda: _recogniser(pack, model))
    yield _guarded("voice", lambda: _voice(pack, settings), needed=False)


def _lexicon(pack: Pack, words: frozenset[str]) -> Finding:
    parse_lexicon(pack.pronunciations()).require(words)
    return Finding(Mark.OK, "lexicon", f"all {len(words)} words can be heard.")


def _recogniser(pack: Pack, model: Path | None) -> Finding:
    started = time.perf_counter()
    rule = LISTENING + STATE
    ear = open_ear(pack, [rule], model=model)
    # Some sound shows that it runs, not only that its files are there.
    listener = ear.listener(16_000, rule)
    listener.feed(bytes(2 * 1_600))
    listener.finish()
    took_s = time.perf_counter() - started
    return Finding(Mark.OK, "recogniser", f"{model or pack.model} is loaded in {took_s:.1f} s.")


def _voice(pack: Pack, settings: SoundSettings) -> Finding:
    match settings.voice:
        case VoiceKind.BANK:
            bank: ClipBank = open_bank(pack.folder / "prompts")
            told = f"bank of {len(set(bank.index.clips.values()))} prompts ({bank.index.voice})."
        case VoiceKind.SYSTEM:
            speech = find_system_speech()
            speech.speak("one")
            told = f"the system's own: {speech.name}."
        case _:
            told = f"{settings.voice}: numbers are only on the screen."
    return Finding(Mark.OK, "voice", told, needed=False)


def _store_findings(path: Path) -> Iterator[Finding]:
    yield _guarded("store", lambda: _store(path))
    yield _guarded("disk", lambda: _disk(path))


def _store(path: Path) -> Finding:
    with open_store(path) as store:
        problems = store.check()
        visits = len(store.open_visits())
    if problems:
        hint = "Take a copy of the file before anything else."
        return Finding(Mark.FAILED, "store", f"{path}: {problems[0]}.", hint)
    told = f"{path} can be written" + (f"; {visits} open visits." if visits else ".")
    return Finding(Mark.OK, "store", told)


def _disk(path: Path) -> Finding:
    folder = next(each for each in (path.resolve(), *path.resolve().parents) if each.is_dir())
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        raise CaptureError(f"The disk cannot be asked: {error.strerror}.") from error
    told = f"{free / 1e9:.1f} GB free."
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


def _learnt(sound: _Sound) -> SoundSettings:
    """The settings with what was found put in."""
    learnt = sound.settings
    device = None if sound.microphone is None else sound.microphone.device
    if device is not None:
        learnt = replace(learnt, microphone=ByName(device.name, device.host))
    if sound.speaker is not None:
        learnt = replace(learnt, speaker=sound.speaker)
    if sound.tail_s is not None:
        tail_s = max(learnt.echo_tail_s, sound.tail_s + MARGIN_S)
        learnt = replace(learnt, echo_tail_s=min(LONGEST_TAIL_S, tail_s))
    return learnt


def _middle(values: list[float]) -> float:
    return sorted(values)[len(values) // 2]


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `check` to the commands."""
    parser = commands.add_parser(
        "check", help="say whether microphone, speaker, recogniser and store are ready"
    )
    parser.add_argument("--microphone", metavar="NAME", help="a microphone, by number or name")
    parser.add_argument("--speaker", metavar="NAME", help="a speaker, by number or name")
    parser.add_argument("--store", metavar="FILE", type=Path, help="where visits are saved")
    parser.add_argument("--model", metavar="DIR", type=Path, help="another Vosk model folder")
    parser.add_argument("--remember", action="store_true", help="use these devices from now on")
    parser.set_defaults(command=_command)


def _command(chosen: argparse.Namespace) -> int:
    for name in (chosen.microphone, chosen.speaker):
        if name is not None and not name.strip():
            raise MisuseError("A device name is empty.", "Give a number or a part of its name.")
    ready = run(
        lambda line: print(line, flush=True),
        model=chosen.model,
        store=chosen.store,
        microphone=chosen.microphone,
        speaker=chosen.speaker,
        remember=settings_path() if chosen.remember else None,
    )
    return 0 if ready else 1
