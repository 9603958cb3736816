"""The kept sound of calls, beside the store and never in it: a folder a visit, a file an entry.

Nothing of the store depends on these files. They carry no name of a person: the folder is named by
the visit's identifier, the file by the number of the journal entry. Losing one loses no reading,
so that they are not forced to the disk.
"""

import os
import re
import time
from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from capture.store.errors import StoreError
from capture.store.place import FOLDER_MODE, make_file, make_folder

SUFFIX = ".sound"
"""Added to the store's name: the folder of the kept sound."""

_VISIT = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_CALL = re.compile(r"([1-9][0-9]{0,8})\.flac")
_UNFINISHED = ".part"
_ABANDONED_S = 3600.0
"""An unfinished file this old belongs to a program that has ended."""


@dataclass(frozen=True, slots=True)
class Amount:
    """How much sound is kept."""

    visits: int
    calls: int
    bytes: int


@dataclass(frozen=True, slots=True)
class Sounds:
    """The kept sound beside one store. Any program may use it at the same time."""

    folder: Path

    def begin(self, visit_id: str) -> None:
        """Make the visit's folder: from now on its calls are kept. Raises `OSError`."""
        make_folder(self.folder)
        make_folder(self._of(visit_id))
        if os.name == "posix":
            # Whoever made the outer folder may have left it open.
            self.folder.chmod(FOLDER_MODE)

    def wanted(self, visit_id: str) -> bool:
        """Whether calls of this visit are kept: not after its sign-off, nor once withdrawn."""
        return self._of(visit_id).is_dir()

    def keep(self, visit_id: str, sequence: int, flac: bytes) -> None:
        """Keep the sound of a journal entry, whole or not at all.

        Raises `OSError` if it cannot be written or is not wanted any more.
        """
        file = self._of(visit_id) / f"{sequence}.flac"
        unfinished = file.with_suffix(_UNFINISHED)
        try:
            make_file(unfinished)
            unfinished.write_bytes(flac)
            unfinished.replace(file)
        except OSError:
            with suppress(OSError):
                unfinished.unlink()
            raise

    def of_entry(self, visit_id: str, sequence: int) -> bytes | None:
        """The kept sound of a journal entry, None if there is none. Raises `StoreError`."""
        try:
            return (self._of(visit_id) / f"{sequence}.flac").read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise StoreError(
                f"The kept sound cannot be read: {error.strerror}.", "The reading is untouched."
            ) from error

    def kept(self, visit_id: str) -> frozenset[int]:
        """The journal entries of a visit whose sound is there."""
        try:
            names = [each.name for each in self._of(visit_id).iterdir()]
        except OSError:
            return frozenset()
        return frozenset(int(found[1]) for name in names if (found := _CALL.fullmatch(name)))

    def remove(self, visit_id: str) -> int:
        """Remove all kept sound of a visit; how many calls. Nothing more of it is kept.

        Raises `StoreError` if something stays.
        """
        folder = self._of(visit_id)
        calls = len(self.kept(visit_id))
        try:
            for each in list(folder.iterdir()):
                each.unlink()
            folder.rmdir()
        except FileNotFoundError:
            return 0
        except OSError as error:
            raise StoreError(
                f"Kept sound could not be removed: {error.strerror}.",
                f"Close programs that play it, or remove the folder {folder}.",
            ) from error
        with suppress(OSError):
            self.folder.rmdir()  # the last one takes the outer folder along
        return calls

    def sweep(self, wanted: Callable[[Collection[str]], Collection[str]]) -> int:
        """Remove the sound of visits that are not to have any; how many visits had some.

        `wanted` tells which of some visits may keep theirs. Folders are listed before it is
        asked: a visit that began before its folder was made is known by then.
        """
        here = self._visits()
        gone = set(here) - set(wanted(here)) if here else set()
        for visit_id in gone:
            with suppress(StoreError):  # it is tried again at the next start
                self.remove(visit_id)
        for visit_id in set(here) - gone:
            self._remove_unfinished(visit_id)
        return len(gone)

    def amount(self) -> Amount:
        """How much is kept, for the count of the disk."""
        visits, calls, size = self._visits(), 0, 0
        for visit_id in visits:
            for sequence in self.kept(visit_id):
                with suppress(OSError):
                    size += (self._of(visit_id) / f"{sequence}.flac").stat().st_size
                    calls += 1
        return Amount(len(visits), calls, size)

    def _of(self, visit_id: str) -> Path:
        if not _VISIT.fullmatch(visit_id):
            raise StoreError("This is no identifier of a visit.", "Take one of the list.")
        return self.folder / visit_id

    def _visits(self) -> list[str]:
        try:
            names = [each.name for each in self.folder.iterdir() if each.is_dir()]
        except OSError:
            return []
        return [name for name in names if _VISIT.fullmatch(name)]

    def _remove_unfinished(self, visit_id: str) -> None:
        for each in self._of(visit_id).glob(f"*{_UNFINISHED}"):
            with suppress(OSError):
                if time.time() - each.stat().st_mtime > _ABANDONED_S:
                    each.unlink()


def sounds_of(store: Path) -> Sounds:
    """The kept sound beside the store at this path."""
    return Sounds(store.with_name(store.name + SUFFIX))
