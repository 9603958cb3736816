"""The voice that the settings ask for."""

from pathlib import Path

from capture.errors import CaptureError
from capture.sound.clips import open_bank
from capture.sound.devices import SoundSystem
from capture.sound.duplex import HalfDuplex
from capture.sound.player import Player, Report
from capture.sound.settings import SoundSettings
from capture.sound.system_speech import find_system_speech
from capture.sound.voice import BankVoice, BeepVoice, SilentVoice, SystemVoice, Voice, VoiceKind


def open_voice(
    settings: SoundSettings,
    system: SoundSystem,
    duplex: HalfDuplex,
    report: Report,
    prompts: Path,
) -> Voice:
    """The chosen voice, ready; no device is opened yet.

    Where its bank or its program is missing, that is reported and tones take its place.
    """
    if settings.voice is VoiceKind.SILENT:
        return SilentVoice()
    player = Player(system, duplex, report, settings.speaker, volume=settings.volume)
    try:
        if settings.voice is VoiceKind.BANK:
            return BankVoice(player, open_bank(prompts), report, settings.pace)
        if settings.voice is VoiceKind.SYSTEM:
            return SystemVoice(player, find_system_speech(), settings.pace)
    except CaptureError as error:
        report(error)
    return BeepVoice(player)
