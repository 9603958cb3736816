"""The machine's sound devices through PortAudio. The only module that imports sounddevice."""

import sys
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any, TypeVar

from capture.sound.devices import Device, InputStream, Kind, OnBlock, OutputStream
from capture.sound.errors import KEYPAD_HINT, DeviceError, NoSoundLibraryError

_INVALID_CHANNELS = -9998
_INVALID_RATE = -9997
_INVALID_DEVICE = -9996
_UNAVAILABLE = -9985
"""PortAudio's error numbers (portaudio.h, PaErrorCode)."""

_OLDEST_S = 2.0
"""A block said to be older than this comes from a host that does not tell the time."""

_BYTES_PER_SAMPLE = 2
_PERMISSION = {
    "darwin": "System Settings, Privacy and Security, Microphone: allow the terminal program.",
    "win32": "Settings, Privacy, Microphone: allow desktop programs.",
}
_Made = TypeVar("_Made", bound="_Input | _Output")


class PortAudio:
    """The real sound system. Nothing is loaded before the first call."""

    def __init__(self) -> None:
        self._library: Any = None
        self._streams: list[_Input | _Output] = []
        self._lock = threading.RLock()

    def version(self) -> str:
        """PortAudio's version in words."""
        return str(self._load().get_portaudio_version()[1])

    def devices(self) -> tuple[Device, ...]:
        """All devices as they were when the library was started or looked again."""
        library = self._load()
        try:
            hosts = [host["name"] for host in library.query_hostapis()]
            default_in, default_out = library.default.device
            return tuple(
                Device(
                    number,
                    str(found["name"]),
                    str(hosts[found["hostapi"]]),
                    round(found["default_samplerate"]),
                    int(found["max_input_channels"]),
                    int(found["max_output_channels"]),
                    number == default_in,
                    number == default_out,
                )
                for number, found in enumerate(library.query_devices())
            )
        except library.PortAudioError as error:
            raise DeviceError(f"The sound devices cannot be listed: {_text(error)}.") from error

    def look_again(self) -> bool:
        """Start the library anew, which makes a fresh list; False while something runs.

        Streams that are open but idle are closed: their users open them again.
        """
        library = self._load()
        with self._lock:
            if any(stream.active for stream in self._streams):
                return False
            for stream in list(self._streams):
                stream.close()
            try:
                # The list is frozen at the start of the library, and it has no public restart.
                library._terminate()
                library._initialize()
            except library.PortAudioError as error:
                raise DeviceError(f"Sound cannot be started again: {_text(error)}.") from error
            return True

    def open_input(
        self, device: Device, rate_hz: int, block_frames: int, on_block: OnBlock
    ) -> InputStream:
        """Start recording 16-bit sound."""
        library = self._load()

        def begin(channels: int, extra: Any) -> "_Input":
            # The sound thread: copy, tell the age, hand on; nothing else.
            def received(data: Any, frames: int, time: Any, status: Any) -> None:
                age_s = time.currentTime - time.inputBufferAdcTime
                if not 0 < age_s < _OLDEST_S:
                    age_s = frames / rate_hz
                on_block(bytes(data), age_s, bool(status.input_overflow))

            stream = library.RawInputStream(
                samplerate=rate_hz,
                device=device.number,
                channels=channels,
                dtype="int16",
                blocksize=block_frames,
                callback=received,
                extra_settings=extra,
            )
            try:
                stream.start()
            except library.PortAudioError:
                stream.close(ignore_errors=True)
                raise
            return _Input(stream, channels, self._forget)

        return self._open(device, Kind.MICROPHONE, begin)

    def open_output(self, device: Device, rate_hz: int) -> OutputStream:
        """Open a speaker for 16-bit mono sound."""
        library = self._load()

        def begin(channels: int, extra: Any) -> "_Output":
            stream = library.RawOutputStream(
                samplerate=rate_hz,
                device=device.number,
                channels=channels,
                dtype="int16",
                extra_settings=extra,
            )
            return _Output(stream, channels, library.PortAudioError, self._lock, self._forget)

        return self._open(device, Kind.SPEAKER, begin)

    def _open(self, device: Device, kind: Kind, begin: Callable[[int, Any], _Made]) -> _Made:
        library = self._load()
        tries: list[tuple[int, Any]] = [(1, None)]
        if "WASAPI" in device.host:
            # Shared mode wants the mixer's own rate; a conversion is silent on some headsets, so
            # it comes second. Never exclusive: other programs keep their sound.
            tries.append((1, library.WasapiSettings(auto_convert=True)))
        if device.channels(kind) > 1:
            tries.append((2, None))
        failed: Exception | None = None
        for channels, extra in tries:
            try:
                with self._lock:
                    made = begin(channels, extra)
                    self._streams.append(made)
                    return made
            except (library.PortAudioError, ValueError) as error:
                failed = failed or error
        raise _told(failed, device, kind) from failed

    def _forget(self, stream: "_Input | _Output") -> None:
        with self._lock:
            if stream in self._streams:
                self._streams.remove(stream)

    def _load(self) -> Any:
        if self._library is None:
            try:
                import sounddevice  # noqa: PLC0415 - it looks for PortAudio when imported
            except (OSError, ImportError) as error:
                raise NoSoundLibraryError from error
            self._library = sounddevice
        return self._library


class _Input:
    """An open microphone."""

    def __init__(self, stream: Any, channels: int, closed: "Callable[[_Input], None]") -> None:
        self._stream = stream
        self._closed = closed
        self.channels = channels

    @property
    def active(self) -> bool:
        try:
            return bool(self._stream.active)
        except Exception:
            return False

    def close(self) -> None:
        self._closed(self)
        self._stream.abort(ignore_errors=True)
        self._stream.close(ignore_errors=True)


class _Output:
    """An open speaker."""

    def __init__(
        self,
        stream: Any,
        channels: int,
        failure: type[Exception],
        lock: AbstractContextManager[object],
        closed: "Callable[[_Output], None]",
    ) -> None:
        self._stream = stream
        self._channels = channels
        self._failure = failure
        self._lock = lock
        self._closed = closed

    @property
    def active(self) -> bool:
        try:
            return bool(self._stream.active)
        except Exception:
            return False

    @property
    def closed(self) -> bool:
        return bool(self._stream.closed)

    @property
    def latency_s(self) -> float:
        return float(self._stream.latency)

    def write(self, sound: bytes) -> None:
        if self._channels > 1:
            pairs = zip(sound[::2], sound[1::2], strict=True)
            sound = b"".join(bytes(pair) * self._channels for pair in pairs)
        try:
            # Once it runs, nobody looks for devices anew under it.
            with self._lock:
                if self._stream.stopped:
                    self._stream.start()
            self._stream.write(sound)
        except self._failure as error:
            raise _lost(error) from error

    def drain(self) -> None:
        try:
            # PortAudio's stop waits until what was handed over has been played.
            self._stream.stop(ignore_errors=False)
        except self._failure as error:
            raise _lost(error) from error

    def cut(self) -> None:
        self._stream.abort(ignore_errors=True)

    def close(self) -> None:
        self._closed(self)
        self._stream.abort(ignore_errors=True)
        self._stream.close(ignore_errors=True)


def _lost(error: Exception) -> DeviceError:
    return Kind.SPEAKER.error(
        f"The speaker stopped: {_text(error)}.", "Read the screen; check that it is plugged in."
    )


def _told(error: Exception | None, device: Device, kind: Kind) -> DeviceError:
    """The library's error about one device in our words."""
    code = error.args[1] if error is not None and len(error.args) > 1 else None
    name = f"The {kind} '{device.name}'"
    if code == _UNAVAILABLE:
        return kind.error(
            f"{name} is busy or gone.",
            f"Close the program that holds it, or plug it in again. {KEYPAD_HINT}",
        )
    if code in {_INVALID_RATE, _INVALID_CHANNELS}:
        return kind.error(
            f"{name} refuses its own rate of {device.rate_hz} Hz.",
            "Choose another rate in the system's sound settings, or another device.",
        )
    if code == _INVALID_DEVICE:
        return kind.error(f"{name} is gone.", f"Plug it in again. {KEYPAD_HINT}")
    permission = _PERMISSION.get(sys.platform, "") if kind is Kind.MICROPHONE else ""
    return kind.error(
        f"{name} cannot be opened: {_text(error)}.",
        permission or "Another program may hold it, or this user may not use it.",
    )


def _text(error: Exception | None) -> str:
    return str(error.args[0] if error is not None and error.args else error).rstrip(".")
