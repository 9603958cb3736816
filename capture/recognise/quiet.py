"""Keeps what native libraries print off the screen.

Kaldi writes to file descriptor 2 directly, past Python's `sys.stderr`. The descriptor belongs to
the whole process: while it is turned away, other threads' messages go the same way. So this is
for loading only, which takes milliseconds and happens before threads are started; a lock keeps
two loaders apart. On Windows a library with a C runtime of its own may not be reached.
"""

import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

_STDERR = 2
_turned_away = threading.Lock()


@dataclass(slots=True)
class NativeMessages:
    """What was printed; filled when the `with` block has ended."""

    text: str = ""

    @property
    def reason(self) -> str:
        """The last error line without its source position; empty if there was none."""
        errors = [line for line in self.text.splitlines() if line.startswith("ERROR")]
        return errors[-1].rpartition(") ")[2].strip() if errors else ""


@contextmanager
def native_messages() -> Iterator[NativeMessages]:
    """Collect what is written to file descriptor 2 within the block."""
    messages = NativeMessages()
    with _turned_away, tempfile.TemporaryFile() as file:
        with suppress(OSError, ValueError, AttributeError):
            # There may be no usable sys.stderr (a windowed program, a closed terminal).
            sys.stderr.flush()
        try:
            kept = os.dup(_STDERR)
        except OSError:
            # Nothing is connected to descriptor 2, so nothing can reach a screen.
            yield messages
            return
        os.dup2(file.fileno(), _STDERR)
        try:
            yield messages
        finally:
            os.dup2(kept, _STDERR)
            os.close(kept)
            file.seek(0)
            messages.text = file.read().decode("utf-8", "replace")
