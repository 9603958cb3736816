"""What a live visit costs while nobody speaks: the processor's share over a minute.

`python -m tests.idle [SECONDS]` runs `foldcall measure` in a terminal of 80 by 24 over a recording
of a quiet room, in real time, and prints the share of one core and how many bytes were drawn. It
needs the /proc of Linux.
"""

import fcntl
import os
import pty
import re
import signal
import struct
import sys
import tempfile
import termios
import threading
import time
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 16_000
ROOM_DBFS = -60.0
START_S = 150.0
"""Model and phrases are loaded by then, also on a busy machine."""


def quiet_room(path: Path, seconds: float) -> None:
    """Hiss at a level of a quiet room."""
    noise = np.random.default_rng(5).normal(0, 10 ** (ROOM_DBFS / 20), round(seconds * RATE_HZ))
    soundfile.write(path, noise, RATE_HZ, subtype="PCM_16")


def ticks(process: int) -> int:
    """Processor time of a process so far, all its threads, in the system's ticks."""
    fields = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    return int(fields[11]) + int(fields[12])


def threads(process: int) -> dict[str, int]:
    """The same for each thread by its number and name."""
    found = {}
    for task in Path(f"/proc/{process}/task").iterdir():
        name, _, rest = (task / "stat").read_text("ascii").rpartition(")")
        fields = rest.split()
        found[f"{task.name} {name.partition('(')[2]}"] = int(fields[11]) + int(fields[12])
    return found


class Terminal:
    """A program in a pseudo-terminal whose output is read and counted."""

    def __init__(self, command: list[str], environment: dict[str, str]) -> None:
        self.written = b""
        self.process, self._fd = pty.fork()
        if not self.process:
            os.execvpe(command[0], command, environment)
        fcntl.ioctl(self._fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        while True:
            try:
                got = os.read(self._fd, 65_536)
            except OSError:
                return
            if not got:
                return
            self.written += got

    def close(self) -> None:
        """End the program."""
        os.kill(self.process, signal.SIGTERM)
        os.waitpid(self.process, 0)


def settled(process: int) -> bool:
    """Whether the program works no more than a little."""
    before = ticks(process)
    time.sleep(2.0)
    return ticks(process) - before < 0.6 * os.sysconf("SC_CLK_TCK")


def main(seconds: float) -> None:
    """Run, wait until it listens and rests, count, and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        quiet_room(folder / "room.wav", START_S + seconds + 30)
        arguments = "--client Rowan --assessor Tobias --sex male --age 34 --silent".split()
        command = [sys.executable, "-m", "capture", "measure", *arguments]
        command += ["--store", str(folder / "visits.db"), "--from-wav", str(folder / "room.wav")]
        environment = os.environ | {
            "TERM": "xterm-256color",
            "FOLDCALL_SETTINGS": str(folder / "settings.toml"),
            "XDG_STATE_HOME": str(folder),
        }
        terminal = Terminal(command, environment)
        give_up_s = time.monotonic() + START_S
        while not re.search(rb"LISTENING", terminal.written) or not settled(terminal.process):
            if time.monotonic() > give_up_s:
                sys.exit(f"It does not come to rest: {terminal.written[-600:]!r}")
            time.sleep(0.5)
        drawn, before, at_s = len(terminal.written), threads(terminal.process), time.monotonic()
        time.sleep(seconds)
        took_s, whole = time.monotonic() - at_s, 0.0
        # A thread that ended meanwhile was still at its work of the start.
        for task, used in sorted(threads(terminal.process).items()):
            share = (used - before.get(task, 0)) / os.sysconf("SC_CLK_TCK") / took_s
            whole += share
            if share >= 0.001:
                print(f"  thread {task}: {share:.1%}")
        drawn = len(terminal.written) - drawn
        print(f"{whole:.1%} of a core over {took_s:.0f} s, {drawn} bytes drawn")
        terminal.close()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 60.0)
