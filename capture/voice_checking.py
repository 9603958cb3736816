"""`foldcall check --voice`: twenty prompts, and a plain word whether to work by voice here."""

import argparse
import shutil
import sys
import textwrap
import threading
from collections.abc import Callable, Iterable
from contextlib import nullcontext, suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from capture.company import native_messages_logged
from capture.errors import MisuseError
from capture.pack import Pack
from capture.protocol.protocol import SEVEN_SITES
from capture.recognise.certainty import Certainty
from capture.screen.app import Screen
from capture.screen.prompt_view import render_prompt
from capture.settings_file import read_settings, settings_path, write_table
from capture.sound.devices import Kind, SoundSystem, Wanted, choose
from capture.sound.microphone import Microphone
from capture.sound.portaudio import PortAudio
from capture.sound.recorded import WavSource
from capture.sound.settings import read_sound_settings
from capture.sound.source import Source
from capture.terminal import show
from capture.voice_check import Round
from capture.voice_kept import (
    TABLE,
    KeptCheck,
    entries_of,
    here,
    joined,
    kept_check,
    mark_of,
)
from capture.voice_prompts import prompts
from capture.voice_trial import KEYS, VoiceTrial, parsers_of
from capture.voice_verdict import Trust, needed_threshold, report_lines, tally, trust
from capture.wiring import Write, certainty_of, open_ear

LINE_WAIT_S = 0.2
WELCOME = (
    "Say each prompt once, as you would at work: from the same place, with the same noise.",
    f"Keys, each as a line of its own; an empty line is Enter: {KEYS}.",
)
RECORDED = "Each utterance of the recording is taken for the next prompt."


@dataclass(frozen=True, slots=True)
class VoiceWish:
    """What was asked for.

    `recording` stands in the microphone's place. `settings` is the file that holds the kept check;
    `remember` keeps this one in it without a question. `screen`: on the whole terminal.
    """

    settings: Path
    microphone: Wanted = None
    recording: Path | None = None
    model: Path | None = None
    remember: bool = False
    screen: bool = False


def check_voice(
    write: Write,
    system: SoundSystem,
    pack: Pack,
    wish: VoiceWish,
    lines: Iterable[str] = (),
    agreed: Callable[[], bool] = lambda: False,
) -> Trust:
    """Lead through the prompts, report, and keep the check if it is wanted; the verdict.

    `lines` are typed keys where no screen is shown; `agreed` asks whether to keep the check.
    Raises CaptureError if nothing can be heard: no microphone, no recording, no model.
    """
    before = kept_check(read_settings(wish.settings))
    with native_messages_logged() if wish.recording is None else nullcontext():
        if wish.recording is None:
            # Whoever has no microphone is told so before a model is loaded.
            choose(system.devices(), wish.microphone, Kind.MICROPHONE)
        sites = {site.id for site in SEVEN_SITES.sites}
        asked = prompts(pack.grammar, sites)
        write("Loading the recogniser.")
        ear = open_ear(pack, sorted({each.rule for each in asked}), sites, wish.model)
        source = _source(system, wish)
        fitted = certainty_of(pack, wish.model)
        held = here(before, fitted, source.name)
        if held.line:
            write(held.line)
        trial = VoiceTrial(
            source,
            ear,
            asked,
            parsers_of(asked, pack.grammar, sites),
            held.certainty,
            recorded=wish.recording is not None,
            watch=None if wish.screen else write,
        )
        if wish.screen:
            _on_screen(trial)
        else:
            for line in WELCOME if wish.recording is None else (RECORDED,):
                write(line)
            _in_lines(trial, lines)
    if trial.trouble is not None:
        raise trial.trouble
    for line in report_lines(trial.round, held.certainty):
        write(line)
    _keep(write, wish, trial.round, source.name, before, fitted, agreed)
    return trust(tally(trial.round.results))


def _source(system: SoundSystem, wish: VoiceWish) -> Source:
    if wish.recording is not None:
        return WavSource(wish.recording, realtime=False)
    return Microphone.opened(system, wish.microphone)


def _on_screen(trial: VoiceTrial) -> None:
    screen = Screen(trial, draw=render_prompt)
    trial.wake = screen.wake
    try:
        trial.begin()
        screen.run()
    finally:
        trial.close()


def _in_lines(trial: VoiceTrial, lines: Iterable[str]) -> None:
    """One line an event, one key a typed line."""

    def read() -> None:
        with suppress(OSError):  # a terminal that is gone types no more
            for line in lines:
                trial.strike(line.strip().lower() or "enter")
        trial.no_more_keys()

    try:
        trial.begin()
        threading.Thread(target=read, daemon=True).start()
        while not trial.over:
            trial.wait(LINE_WAIT_S)
    finally:
        trial.close()


def _keep(
    write: Write,
    wish: VoiceWish,
    done: Round,
    microphone: str,
    before: KeptCheck | None,
    fitted: Certainty | None,
    agreed: Callable[[], bool],
) -> None:
    found = tally(done.results)
    if fitted is None:
        write("A check with another model is not kept.")
        return
    if trust(found) is Trust.LITTLE:
        if wish.remember:
            write("It is not kept: too little was heard.")
        return
    if not (wish.remember or agreed()):
        write("It is not kept; --remember keeps it, for 'foldcall measure' with this microphone.")
        return
    least = needed_threshold(done.results) or 0.0
    new = KeptCheck(date.today(), microphone, found, mark_of(fitted), least)
    kept = joined(before, new)
    write_table(wish.settings, TABLE, entries_of(kept))
    write(f"It is kept in {wish.settings}, for '{microphone}'.")
    raised = fitted.stricter(kept.normal_from)
    if raised != fitted:
        write(
            f"From now on a call heard with this microphone is usual only from "
            f"{raised.normal_from:.2%}, a yes from {raised.sure_from:.2%}. Delete the table "
            f"[{TABLE}] to go back."
        )


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the voice check to the options of `check`."""
    parser.add_argument(
        "--voice", action="store_true", help="read twenty prompts: can the voice be trusted here?"
    )
    parser.add_argument(
        "--from-wav", metavar="FILE", type=Path, help="a recording of the prompts, with --voice"
    )
    parser.add_argument("--plain", action="store_true", help="--voice in lines, no full screen")


def voice_command(chosen: argparse.Namespace, pack: Pack) -> int:
    """Run `check --voice` as the command line asks for it; the exit code."""
    for option, given in (("--store", chosen.store), ("--speaker", chosen.speaker)):
        if given is not None:
            raise MisuseError(f"{option} is not for a voice check.", "Leave it out.")
    if chosen.from_wav is not None and chosen.microphone is not None:
        raise MisuseError("A recording takes the microphone's place.", "Give one of the two.")
    path = settings_path()
    terminal = sys.stdin.isatty() and sys.stdout.isatty()
    wish = VoiceWish(
        path,
        chosen.microphone or read_sound_settings(read_settings(path)).microphone,
        chosen.from_wav,
        chosen.model,
        chosen.remember,
        screen=terminal and not chosen.plain and chosen.from_wav is None,
    )
    found = check_voice(
        _wrapped if terminal else show,
        PortAudio(),
        pack,
        wish,
        iter(sys.stdin.readline, ""),
        _ask_to_keep if terminal else lambda: False,
    )
    return 0 if found in {Trust.VOICE, Trust.OFTEN} else 1


def _wrapped(line: str) -> None:
    """Write a line to a terminal, broken between words."""
    width = shutil.get_terminal_size().columns
    indent = " " * (4 + len(line) - len(line.lstrip()))
    show(*textwrap.wrap(line, max(20, width - 1), subsequent_indent=indent))


def _ask_to_keep() -> bool:
    show("Keep this check for this microphone? y and Enter keeps it:")
    return sys.stdin.readline().strip().lower() in {"y", "yes"}
