"""Recordings of every kind that a recorder writes, and things that are no recordings."""

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from capture.sound.wav import SoundError, SoundFile, open_sound

RATE_HZ = 16_000


def wave(seconds: float = 0.5, rate_hz: int = RATE_HZ) -> np.ndarray:
    """A tone at half of full scale."""
    return 0.5 * np.sin(2 * np.pi * 440 * np.arange(int(seconds * rate_hz)) / rate_hz)


def samples(sound: SoundFile, seconds: float = 0.1) -> np.ndarray:
    """All of the sound as whole numbers."""
    return np.frombuffer(b"".join(sound.blocks(seconds)), "<i2")


@pytest.mark.parametrize(
    ("kind", "subtype", "off_by"),
    [
        ("WAV", "PCM_U8", 256),
        ("WAV", "PCM_16", 1),
        ("WAV", "PCM_24", 1),
        ("WAV", "PCM_32", 1),
        ("WAV", "FLOAT", 1),
        ("WAV", "DOUBLE", 1),
        ("WAV", "ULAW", 1000),
        ("WAVEX", "PCM_16", 1),
        ("RF64", "PCM_16", 1),
        ("FLAC", "PCM_16", 1),
        ("FLAC", "PCM_24", 1),
        ("OGG", "VORBIS", 3000),
    ],
)
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_every_kind_gives_the_same_sound(
    tmp_path: Path, kind: str, subtype: str, off_by: int, channels: int
) -> None:
    """Width, container and number of channels do not change what is heard."""
    path = tmp_path / "call.snd"
    soundfile.write(path, np.column_stack([wave()] * channels), RATE_HZ, subtype, format=kind)
    sound = open_sound(path)
    assert (sound.rate_hz, sound.frames, sound.damaged) == (RATE_HZ, RATE_HZ // 2, False)
    assert np.abs(samples(sound) - wave() * 32_768).max() <= off_by


def test_sixteen_bits_come_back_exactly(tmp_path: Path) -> None:
    """The extreme values and everything between survive unchanged."""
    path = tmp_path / "call.wav"
    values = np.arange(-32_768, 32_768, dtype=np.int16)
    soundfile.write(path, values, RATE_HZ)
    assert np.array_equal(samples(open_sound(path)), values)


def test_channels_are_averaged_and_loud_floats_are_limited(tmp_path: Path) -> None:
    """Left and right count half each; values beyond full scale do not wrap around."""
    path = tmp_path / "call.wav"
    rows = np.array([[0.5, 0.0], [0.5, -0.5], [1.5, 1.5], [-3e38, -3e38]])
    soundfile.write(path, rows, RATE_HZ, "FLOAT")
    assert samples(open_sound(path)).tolist() == [8192, 0, 32_767, -32_768]


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 48_000, 96_000])
def test_the_rate_is_the_files_own(tmp_path: Path, rate_hz: int) -> None:
    """Nothing is resampled; the length in seconds is right."""
    path = tmp_path / "call.wav"
    soundfile.write(path, wave(1.0, rate_hz), rate_hz)
    sound = open_sound(path)
    assert (sound.rate_hz, sound.duration_s) == (rate_hz, 1.0)


@pytest.mark.parametrize("seconds", [0.03, 0.1, 0.5, 10.0])
def test_blocks_have_the_asked_length(tmp_path: Path, seconds: float) -> None:
    """All blocks but the last are as long as asked, and together they are the whole."""
    path = tmp_path / "call.wav"
    soundfile.write(path, wave(1.27), RATE_HZ)
    blocks = list(open_sound(path).blocks(seconds))
    assert {len(block) for block in blocks[:-1]} <= {2 * round(seconds * RATE_HZ)}
    assert sum(map(len, blocks)) == 2 * int(1.27 * RATE_HZ)


def wav_bytes(data: bytes, promised: int, rate_hz: int = RATE_HZ, channels: int = 1) -> bytes:
    """A 16-bit WAV file whose header promises so many bytes of sound."""
    width = 2 * channels
    form = struct.pack("<HHIIHH", 1, channels, rate_hz, rate_hz * width % 2**32, width, 16)
    chunks = b"fmt " + struct.pack("<I", len(form)) + form
    chunks += b"LIST" + struct.pack("<I", 5) + b"INFO!\0" + b"data" + struct.pack("<I", promised)
    return (
        b"RIFF"
        + struct.pack("<I", min(2**32 - 1, 4 + len(chunks) + promised))
        + b"WAVE"
        + (chunks + data)
    )


def test_a_cut_wav_gives_what_is_there(tmp_path: Path) -> None:
    """A file cut off in copying is read as far as it goes, and says so."""
    path = tmp_path / "call.wav"
    data = (wave(1.0) * 32_768).astype("<i2").tobytes()
    path.write_bytes(wav_bytes(data[: len(data) // 4], len(data)))
    sound = open_sound(path)
    assert sound.damaged
    assert sound.note == "call.wav is cut off: 0.2 s of 1.0 s are there."
    assert len(samples(sound)) == RATE_HZ // 4


@pytest.mark.parametrize("kind", ["FLAC", "OGG"])
def test_a_cut_compressed_file_never_ends_in_a_crash(tmp_path: Path, kind: str) -> None:
    """Half of a compressed file gives its sound up to the damage."""
    path = tmp_path / "call.snd"
    noise = np.random.default_rng(5).uniform(-0.3, 0.3, 20 * RATE_HZ)
    soundfile.write(path, noise, RATE_HZ, format=kind)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    sound = open_sound(path)
    assert 0 < sound.frames < 20 * RATE_HZ
    assert len(samples(sound)) == sound.frames
    if kind == "FLAC":  # an OGG file does not say how long it should be
        assert sound.damaged


@pytest.mark.parametrize("promised", [0x3FFF_FFFF, 0x7FFF_F000, 0xFFFF_FFFF], ids=hex)
def test_a_header_written_before_the_sound_is_no_damage(tmp_path: Path, promised: int) -> None:
    """Programs that write to a pipe do not know the length; their files are whole."""
    path = tmp_path / "call.wav"
    path.write_bytes(wav_bytes((wave() * 32_768).astype("<i2").tobytes(), promised))
    sound = open_sound(path)
    assert (sound.frames, sound.damaged, sound.note) == (RATE_HZ // 2, False, None)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "is empty"),
        (b"not sound at all\n" * 40, "cannot be read as sound"),
        (b"RIFF\x24\0\0\0WAVE", "cannot be read as sound"),
        (wav_bytes(b"", 0), "holds no sound"),
        (wav_bytes(b"", 4000), "holds no sound"),
        (wav_bytes(bytes(400), 400, rate_hz=4_000), "4000 samples a second"),
        (wav_bytes(bytes(400), 400, rate_hz=2_000_000_000), "2000000000 samples a second"),
        (wav_bytes(bytes(4000), 4000, channels=500), "500 channels"),
        (wav_bytes(bytes(400), 400, rate_hz=0), r"0 samples a second|cannot be read"),
    ],
    ids=[
        "empty", "text", "cut header", "no data", "promised data", "4 kHz", "2 GHz",
        "500 channels", "0 Hz",
    ],
)  # fmt: skip
def test_what_is_no_usable_sound_is_refused(tmp_path: Path, content: bytes, told: str) -> None:
    """One error that names the file and says what to do."""
    path = tmp_path / "call.wav"
    path.write_bytes(content)
    with pytest.raises(SoundError, match=told) as raised:
        open_sound(path)
    assert raised.value.message.startswith("call.wav")
    assert raised.value.hint


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf], ids=str)
def test_values_that_are_no_numbers_are_refused(tmp_path: Path, value: float) -> None:
    """A broken float file would otherwise be heard as something."""
    path = tmp_path / "call.wav"
    broken = wave(3.0)
    broken[2 * RATE_HZ] = value
    soundfile.write(path, broken, RATE_HZ, "FLOAT")
    with pytest.raises(SoundError, match="not numbers"):
        open_sound(path)


def test_missing_files_and_folders_are_named(tmp_path: Path) -> None:
    """A wrong name and a folder each have their own message."""
    with pytest.raises(SoundError, match="There is no file"):
        open_sound(tmp_path / "none.wav")
    with pytest.raises(SoundError, match="is a folder"):
        open_sound(tmp_path)


def test_a_file_that_goes_away_is_told(tmp_path: Path) -> None:
    """A recording deleted after it was opened gives an error, not silence."""
    path = tmp_path / "call.wav"
    soundfile.write(path, wave(), RATE_HZ)
    sound = open_sound(path)
    path.unlink()
    with pytest.raises(SoundError, match="any more"):
        list(sound.blocks())
