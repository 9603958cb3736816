"""Which sound devices and which voice this machine uses: its own table of the settings."""

from dataclasses import dataclass

from capture.settings_table import Settings, Table
from capture.sound.devices import ByName
from capture.sound.gate import ECHO_TAIL_S
from capture.sound.voice import FASTEST, SLOWEST, VoiceKind

TABLE = "sound"
_KEYS = (
    "microphone", "microphone_host", "speaker", "speaker_host", "voice", "volume", "pace",
    "echo_tail_s",
)  # fmt: skip
LONGEST_TAIL_S = 2.0


@dataclass(frozen=True, slots=True)
class SoundSettings:
    """The table `sound`.

    `microphone` and `speaker` are None for the system's own. `volume` is 0 to 1, `pace` 0.8 to
    1.15, `echo_tail_s` 0 to 2 s: how long the room goes on after the voice.
    """

    microphone: ByName | None = None
    speaker: ByName | None = None
    voice: VoiceKind = VoiceKind.BANK
    volume: float = 1.0
    pace: float = 1.0
    echo_tail_s: float = ECHO_TAIL_S


def read_sound_settings(settings: Settings) -> SoundSettings:
    """The sound settings of a file; the usual ones for what it does not name.

    Raises SettingsError for an unknown name or a wrong value.
    """
    table = settings.table(TABLE)
    table.allow(_KEYS)
    return SoundSettings(
        _device(table, "microphone"),
        _device(table, "speaker"),
        VoiceKind(table.choice("voice", VoiceKind.BANK, [kind.value for kind in VoiceKind])),
        table.number("volume", 1.0, (0, 1)),
        table.number("pace", 1.0, (SLOWEST, FASTEST)),
        table.number("echo_tail_s", ECHO_TAIL_S, (0, LONGEST_TAIL_S), "seconds"),
    )


def sound_entries(settings: SoundSettings) -> dict[str, str | bool | int | float | list[str]]:
    """The table that reads back as these settings, for `write_table`."""
    entries: dict[str, str | bool | int | float | list[str]] = {}
    for key, device in (("microphone", settings.microphone), ("speaker", settings.speaker)):
        if device is not None:
            entries |= {key: device.name, f"{key}_host": device.host}
    entries["voice"] = settings.voice.value
    for key in ("volume", "pace", "echo_tail_s"):
        entries[key] = round(getattr(settings, key), 2)
    return entries


def _device(table: Table, key: str) -> ByName | None:
    hint = "Write the name of the device in quotes."
    name, host = table.text(key, "", hint), table.text(f"{key}_host", "", hint)
    return ByName(name, host) if key in table.entries else None
