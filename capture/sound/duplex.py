"""Keeps the gate between the threads that speak and the thread that listens."""

import threading
import time
from collections.abc import Callable
from enum import Enum, auto
from typing import Protocol

from capture.sound.gate import ECHO_TAIL_S, LIMIT_S, Gate


class Admission(Enum):
    """What to do with a block of sound."""

    TAKE = auto()
    FIRST = auto()
    """Take it; it is the first after the program spoke: let the recogniser forget the rest."""
    DROP = auto()
    """It may hold the program's own voice."""


class Captured(Protocol):
    """Sound with the time of its capture."""

    @property
    def captured_at_s(self) -> float:
        """When its first sample was captured."""
        ...

    @property
    def ends_at_s(self) -> float:
        """When its last sample was captured."""
        ...


class HalfDuplex:
    """While the program speaks it does not listen.

    The voice calls `begins` and `ends` from any thread; the listening loop asks `admit` about
    each block. `now` and the blocks' times must be of one clock. `echo_tail_s` is the room's
    echo; the speaker's latency, once known, is added to it.
    """

    def __init__(
        self, now: Callable[[], float] = time.monotonic, echo_tail_s: float = ECHO_TAIL_S
    ) -> None:
        self._now = now
        self._echo_tail_s = echo_tail_s
        self._gate = Gate(tail_s=echo_tail_s)
        self._count = 0
        self._forgotten = 0
        self._lock = threading.Lock()

    def begins(self, length_s: float, limit_s: float = LIMIT_S) -> int:
        """The program begins to make itself heard; a number to hand to `ends`.

        `limit_s`: how long after the expected end the gate opens by itself.
        """
        with self._lock:
            self._count += 1
            self._gate = self._gate.began(self._count, self._now(), length_s + limit_s - LIMIT_S)
            return self._count

    def ends(self, number: int, latency_s: float | None = None) -> None:
        """It is over: played out, cut off or failed. `latency_s` of the speaker, if known."""
        with self._lock:
            if latency_s is not None:
                tail_s = self._echo_tail_s + max(0.0, latency_s)
                self._gate = Gate(tail_s, self._gate.limit_s, self._gate.playbacks)
            self._gate = self._gate.ended(number, self._now())

    def admit(self, block: Captured) -> Admission:
        """Judge a block by when it was captured. Blocks must come in order."""
        with self._lock:
            if not self._gate.counts(block.captured_at_s, block.ends_at_s):
                return Admission.DROP
            spoken = [
                each.number for each in self._gate.playbacks if each.start_s < block.captured_at_s
            ]
            if not spoken or max(spoken) <= self._forgotten:
                return Admission.TAKE
            self._forgotten = max(spoken)
            return Admission.FIRST

    @property
    def open(self) -> bool:
        """Whether what is said now would be heard."""
        with self._lock:
            return self._gate.open_at(self._now())

    @property
    def opens_in_s(self) -> float:
        """Seconds until the gate opens at the latest; 0 while it is open."""
        with self._lock:
            now_s = self._now()
            return self._gate.opens_s(now_s) - now_s

    @property
    def tail_s(self) -> float:
        """The tail in use: echo and latency together."""
        with self._lock:
            return self._gate.tail_s
