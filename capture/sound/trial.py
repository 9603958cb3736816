"""A short trial of microphone, speaker and the room between them."""

from dataclasses import dataclass, field, replace

from capture.errors import CaptureError
from capture.findings import Finding, Mark, guarded
from capture.sound.cues import Cue, tone
from capture.sound.devices import ByName, Kind, SoundSystem, Wanted, choose
from capture.sound.duplex import HalfDuplex
from capture.sound.echo import Heard, echo_tail_s
from capture.sound.errors import MicrophoneError
from capture.sound.microphone import Microphone
from capture.sound.player import Player
from capture.sound.settings import LONGEST_TAIL_S, SoundSettings
from capture.sound.source import MicState

QUIET_BELOW_DBFS = -75.0
"""A microphone that hears a room is above this; below it the input is turned down or covered.
Common practice, no source."""

OVERDRIVEN_DBFS = -1.0
LISTEN_S = 1.0
ECHO_WAIT_S = 1.2
MARGIN_S = 0.05


@dataclass(slots=True)
class SoundTrial:
    """The sound devices while they are checked, and what was learnt of them."""

    system: SoundSystem
    settings: SoundSettings
    microphone: Microphone | None = None
    speaker: ByName | None = None
    tail_s: float | None = None
    levels: list[Heard] = field(default_factory=list)


def microphone_finding(sound: SoundTrial, wanted: Wanted) -> Finding:
    """Open the microphone, listen for a second, and keep both in the trial."""

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
            raise trouble or MicrophoneError("No sound came from it.", "Is it switched on?")
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

    return guarded("microphone", check)


def _listen(sound: SoundTrial, seconds: float) -> None:
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


def speaker_finding(sound: SoundTrial, wanted: Wanted) -> Finding:
    """Open the speaker and close it again; its name is kept in the trial."""

    def check() -> Finding:
        chosen = sound.settings.speaker if wanted is None else wanted
        device = choose(sound.system.devices(), chosen, Kind.SPEAKER)
        sound.speaker = ByName(device.name, device.host)
        # Opening it shows that it is neither busy nor gone.
        sound.system.open_output(device, device.rate_hz).close()
        return Finding(Mark.OK, "speaker", f"'{device.name}' ({device.host}), {device.rate_hz} Hz.")

    return guarded("speaker", check)


def echo_finding(sound: SoundTrial) -> Finding:
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

    return guarded("echo", check)


def learnt(sound: SoundTrial) -> SoundSettings:
    """The settings with what was found put in."""
    settings = sound.settings
    device = None if sound.microphone is None else sound.microphone.device
    if device is not None:
        settings = replace(settings, microphone=ByName(device.name, device.host))
    if sound.speaker is not None:
        settings = replace(settings, speaker=sound.speaker)
    if sound.tail_s is not None:
        tail_s = max(settings.echo_tail_s, sound.tail_s + MARGIN_S)
        settings = replace(settings, echo_tail_s=min(LONGEST_TAIL_S, tail_s))
    return settings


def _middle(values: list[float]) -> float:
    return sorted(values)[len(values) // 2]
