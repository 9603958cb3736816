"""Plays one thing at a time in a thread of its own, and closes the gate meanwhile."""

import queue
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

from capture.errors import CaptureError
from capture.sound.devices import Device, Kind, OutputStream, SoundSystem, Wanted, choose
from capture.sound.duplex import HalfDuplex
from capture.sound.errors import SpeakerError
from capture.sound.gate import LIMIT_S
from capture.sound.samples import Samples, to_bytes

CHUNK_S = 0.04
"""Handed over at a time: a key cuts a read-back off within about this and the latency."""

Make = Callable[[int], Samples]
"""Gives the samples to play at the rate of the speaker. Called in the player's thread; a
CaptureError from it is reported."""

Report = Callable[[CaptureError], None]
"""Told what could not be played. Called from the player's thread or the caller's: it must only
post."""


@dataclass(slots=True)
class _Job:
    make: Make
    limit_s: float
    overdue_s: float
    is_speech: bool
    closes_gate: bool
    gates: list[int]
    cut: threading.Event = field(default_factory=threading.Event)
    done: threading.Event = field(default_factory=threading.Event)


class Player:
    """One speaker. The device is opened when the first sound is due, by name after a failure.

    `limit_s` is how long after its expected end a playback is given up; the next one then begins
    with a thread and a stream of its own.
    """

    def __init__(
        self,
        system: SoundSystem,
        duplex: HalfDuplex,
        report: Report,
        wanted: Wanted = None,
        *,
        volume: float = 1.0,
        limit_s: float = LIMIT_S,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self.volume = volume
        self.device: Device | None = None
        self._system = system
        self._duplex = duplex
        self._report = report
        self._wanted = wanted
        self._limit_s = limit_s
        self._now = now
        self._lock = threading.Lock()
        self._current: _Job | None = None
        self._worker: _Worker | None = None

    def play(
        self,
        make: Make,
        length_s: float,
        *,
        is_speech: bool = True,
        closes_gate: bool = True,
        limit_s: float | None = None,
    ) -> float:
        """Begin to play, cutting off what plays now; returns at once, with the expected seconds.

        What is no speech gives way to speech that is being played, and is 0 s long then: a tone
        that comes late tells something wrong.
        """
        limit_s = self._limit_s if limit_s is None else limit_s
        with self._lock:
            current = self._running()
            if current is not None and current.is_speech and not is_speech:
                return 0.0
            self._cut()
            gates = [self._duplex.begins(length_s, limit_s)] if closes_gate else []
            overdue_s = self._now() + length_s + limit_s
            self._current = _Job(make, limit_s, overdue_s, is_speech, closes_gate, gates)
            self._ready_worker().jobs.put(self._current)
        return length_s

    def stop(self) -> None:
        """Be silent at once. The gate opens after its tail."""
        with self._lock:
            self._cut()

    @property
    def speaking(self) -> bool:
        """Whether speech is being played."""
        with self._lock:
            current = self._running()
            return current is not None and current.is_speech

    def wait(self, timeout_s: float) -> bool:
        """Wait until what plays is over; whether it is. For commands that end afterwards."""
        with self._lock:
            current = self._current
        return current is None or current.done.wait(timeout_s)

    def close(self) -> None:
        """Be silent and let go of the speaker."""
        with self._lock:
            self._cut()
            if self._worker is not None:
                self._worker.jobs.put(None)
                self._worker = None

    def _running(self) -> _Job | None:
        job = self._current
        if job is None or job.done.is_set() or job.cut.is_set() or self._now() > job.overdue_s:
            return None
        return job

    def _cut(self) -> None:
        # The player's thread sees it before the next chunk: two threads in one stream is more
        # than the sound library promises.
        if self._current is not None:
            self._current.cut.set()

    def _ready_worker(self) -> "_Worker":
        worker = self._worker
        if worker is not None and worker.stuck(self._now()):
            # The device took sound and never came back: that thread is left to itself.
            worker.abandon()
            self._worker = worker = None
            self._report(SpeakerError("The speaker does not answer.", "Read the screen."))
        if worker is None:
            self._worker = worker = _Worker(self._open, self._duplex, self._report, self)
        return worker

    def _open(self) -> tuple[Device, OutputStream]:
        device = choose(self._system.devices(), self._wanted, Kind.SPEAKER)
        self.device = device
        return device, self._system.open_output(device, device.rate_hz)


class _Worker:
    """The thread that plays; it owns the stream."""

    def __init__(
        self,
        open_stream: Callable[[], tuple[Device, OutputStream]],
        duplex: HalfDuplex,
        report: Report,
        player: Player,
    ) -> None:
        self.jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._open_stream = open_stream
        self._duplex = duplex
        self._report = report
        self._player = player
        self._playing: _Job | None = None
        self._stream: OutputStream | None = None
        self._rate_hz = 0
        # A daemon: a device that never answers must not keep the program from ending.
        threading.Thread(target=self._run, name="voice", daemon=True).start()

    def stuck(self, now_s: float) -> bool:
        """Whether what plays should have been over long ago. Called from other threads."""
        job = self._playing
        return job is not None and now_s > job.overdue_s

    def abandon(self) -> None:
        """Take its waiting work away and let it end whenever it can. Called from other threads."""
        while not self.jobs.empty():
            with suppress(queue.Empty):
                waiting = self.jobs.get_nowait()
                if waiting is not None:
                    self._end(waiting, None)
        self.jobs.put(None)

    def _run(self) -> None:
        while (job := self.jobs.get()) is not None:
            self._playing = job
            latency_s: float | None = None
            try:
                if not job.cut.is_set():
                    latency_s = self._play(job)
            except CaptureError as error:
                self._failed(job, error)
            except Exception as error:
                # Whatever goes wrong in a driver, the gate must open and the person must know.
                told = SpeakerError(f"The voice failed: {error}.", "Read the screen.")
                self._failed(job, told)
            finally:
                self._playing = None
                self._end(job, latency_s)
        self._drop_stream()

    def _play(self, job: _Job) -> float:
        stream = self._stream
        if stream is None or stream.closed:
            device, stream = self._open_stream()
            self._stream, self._rate_hz = stream, device.rate_hz
        samples = job.make(self._rate_hz)
        if job.closes_gate:
            # It may begin late, and only now is its length sure.
            job.gates.append(self._duplex.begins(len(samples) / self._rate_hz, job.limit_s))
        sound = to_bytes(samples, self._player.volume)
        size = 2 * max(1, int(CHUNK_S * self._rate_hz))
        for at in range(0, len(sound), size):
            if job.cut.is_set():
                break
            stream.write(sound[at : at + size])
        if job.cut.is_set():
            stream.cut()
        else:
            stream.drain()
        return stream.latency_s

    def _failed(self, job: _Job, error: CaptureError) -> None:
        self._drop_stream()
        if not job.cut.is_set():
            self._report(error)

    def _end(self, job: _Job, latency_s: float | None) -> None:
        for gate in job.gates:
            self._duplex.ends(gate, latency_s)
        job.done.set()

    def _drop_stream(self) -> None:
        stream, self._stream = self._stream, None
        if stream is not None:
            with suppress(Exception):
                stream.close()
