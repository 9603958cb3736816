"""Keeping the sound of calls during a visit, where the client agreed."""

import shutil
from collections.abc import Callable

from capture.begin import Opened
from capture.errors import CaptureError
from capture.report.record import SOUND_CONSENT
from capture.sound.kept import CallSound
from capture.store import Store

LEAST_FREE_BYTES = 200_000_000
"""With less room no sound is kept and no session should begin: the readings need it. Own choice,
no source; a visit takes less than a hundredth of it."""

TOLD = "The client agreed: the sound of calls is kept until the visit is signed off by name."


class Keeping:
    """Keeps the sound of a visit's calls. Whatever goes wrong is told once, in a line.

    `tell` shows a line; `free_bytes` says how much room a folder's disk has.
    """

    def __init__(
        self,
        store: Store,
        opened: Opened,
        tell: Callable[[str], None],
        free_bytes: Callable[[str], int] = lambda folder: shutil.disk_usage(folder).free,
    ) -> None:
        self._sounds, self._visit_id = store.sounds, opened.row.id
        self._tell, self._free_bytes = tell, free_bytes
        self._agreed = bool(opened.row.plan.get(SOUND_CONSENT)) and not store.is_encrypted
        self._is_new = not opened.resumed
        self.on = self._agreed

    def begin(self) -> None:
        """Make ready, and tell that sound is kept."""
        if self._agreed and self._is_new:
            self._guarded(lambda: self._sounds.begin(self._visit_id))
        self.on = self.on and self._sounds.wanted(self._visit_id)
        if self.on:
            self._tell(TOLD)

    def keep(self, sequence: int, sound: CallSound) -> None:
        """Keep the sound of an entry that the journal holds already."""
        if not self.on:
            return
        self._guarded(lambda: self._write(sequence, sound))

    def _write(self, sequence: int, sound: CallSound) -> None:
        if self._free_bytes(str(self._sounds.folder)) < LEAST_FREE_BYTES:
            self._stop("the disk is nearly full")
        else:
            self._sounds.keep(self._visit_id, sequence, sound.as_flac())

    def _guarded(self, action: Callable[[], None]) -> None:
        try:
            action()
        except OSError as error:
            self._stop(error.strerror or "it cannot be written")
        except (CaptureError, RuntimeError) as error:
            self._stop(str(error))

    def _stop(self, why: str) -> None:
        self.on = False
        self._tell(f"No more sound of this visit is kept: {why}. The readings are saved.")
