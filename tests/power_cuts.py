"""Cuts the power at every write and looks at what the disk may then hold.

    python tests/power_cuts.py [--states N] [--seed N]

The store is driven by the real session through SQLite's own "unix" file layer, in which the
functions for open, write, truncate, sync and delete are replaced by ones that note what they do.
What a disk may hold after a power cut follows https://www.sqlite.org/atomiccommit.html (sections
2, 9) and https://www.sqlite.org/psow.html: what was synced is there; of what was written since,
anything may be there, in any order: nothing, all, single writes, a write torn between sectors
from either end; where a file has grown, lost sectors hold zeros or rubbish; a file that was
removed may be back. Bytes outside a write are never harmed. SQLite's `-shm` is rebuilt at the
first opening; it is missing or holds rubbish.

At each cut the store must open, be sound, hold every call whose outcome had been shown, and
nothing that never was; and nothing of a person whose erasing had been reported. Prints the number
of states. Needs a Python that shares its SQLite library, as those of Linux systems do.
"""

import _sqlite3
import argparse
import ctypes
import os
import random
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from kills import NOON, WISH, Moments, sitting
from person import keys_for

from capture.store import open_store
from capture.visit.entry import Entry
from capture.visit.replay import replay
from capture.visit.state import Plan
from capture.wiring import default_pack
from capture.wording.numbers import NumberWords

SECTOR = 512
"""What a disk writes whole at the least."""

GONE = "Odile Ferncastle"
RUBBISH = bytes(range(1, 256)) * 3
OK = 0


@dataclass(frozen=True)
class Op:
    """One thing that was asked of the file system. `data` is None for all but a write."""

    kind: str
    file: str
    at: int = 0
    data: bytes | None = None


@dataclass
class Log:
    """All that was asked, in order, with what had been promised at each moment."""

    ops: list[Op] = field(default_factory=list)
    promised: list[tuple[bool, int]] = field(default_factory=list)
    """At each operation: whether the erasing was reported, and how many calls were shown."""
    erased: bool = False
    shown: int = 0

    def add(self, op: Op) -> None:
        """Note one operation."""
        self.ops.append(op)
        self.promised.append((self.erased, self.shown))


_Pointers = ctypes.POINTER(ctypes.c_void_p)
_Write = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int, ctypes.c_int64
)
_Truncate = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_int64)
_Sync = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_int)
_Open = ctypes.CFUNCTYPE(
    ctypes.c_int,
    ctypes.c_void_p,
    ctypes.c_void_p,  # SQLite keeps this pointer to the name: it must be passed on as it is
    ctypes.c_void_p,
    ctypes.c_int,
    ctypes.c_void_p,
)
_Delete = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int)
_METHODS = 19
"""Words of sqlite3_io_methods, version 3; its functions begin at the second."""
_WRITE, _TRUNCATE, _SYNC = 3, 4, 5
_VFS_OPEN, _VFS_DELETE = 5, 6
"""Words of sqlite3_vfs: three ints take two, then come next, name, data, and the functions."""


def can_be_noted() -> bool:
    """Whether this Python's SQLite library can be reached."""
    try:
        return bool(ctypes.CDLL(_sqlite3.__file__).sqlite3_vfs_find)
    except (AttributeError, OSError):
        return False


@contextmanager
def noted(log: Log) -> Iterator[None]:
    """Note what SQLite asks of the file system within the block."""
    library = ctypes.CDLL(_sqlite3.__file__)
    library.sqlite3_vfs_find.restype = ctypes.c_void_p
    vfs = ctypes.cast(library.sqlite3_vfs_find(None), _Pointers)
    usual_open, usual_delete = _Open(vfs[_VFS_OPEN]), _Delete(vfs[_VFS_DELETE])
    names: dict[int, str] = {}
    tables: dict[int, tuple[object, ...]] = {}

    def opened(vfs_: int, name: int | None, file: int, flags: int, out: int | None) -> int:
        code = usual_open(vfs_, name, file, flags, out)
        methods = ctypes.cast(file, _Pointers)
        if code == OK and methods[0] and name:
            names[file] = _name(name)
            log.add(Op("open", names[file]))
            methods[0] = ctypes.addressof(table_for(methods[0]))  # type: ignore[arg-type]
        return code

    def table_for(usual: int) -> ctypes.Array[ctypes.c_void_p]:
        if usual not in tables:
            old = ctypes.cast(usual, _Pointers)
            new = (ctypes.c_void_p * _METHODS)(*(old[word] for word in range(_METHODS)))
            write, truncate, sync = (
                _Write(old[_WRITE]),
                _Truncate(old[_TRUNCATE]),
                _Sync(old[_SYNC]),
            )

            def on_write(file: int, data: int, count: int, at: int) -> int:
                log.add(Op("write", names[file], at, ctypes.string_at(data, count)))
                return write(file, data, count, at)

            def on_truncate(file: int, size: int) -> int:
                log.add(Op("truncate", names[file], size))
                return truncate(file, size)

            def on_sync(file: int, flags: int) -> int:
                log.add(Op("sync", names[file]))
                return sync(file, flags)

            noting = (_Write(on_write), _Truncate(on_truncate), _Sync(on_sync))
            for word, function in zip((_WRITE, _TRUNCATE, _SYNC), noting, strict=True):
                new[word] = ctypes.cast(function, ctypes.c_void_p).value
            tables[usual] = (new, noting, write, truncate, sync)
        return tables[usual][0]  # type: ignore[return-value]

    def deleted(vfs_: int, name: int, sync: int) -> int:
        log.add(Op("delete", _name(name), sync))
        return usual_delete(vfs_, name, sync)

    kept = vfs[_VFS_OPEN], vfs[_VFS_DELETE]
    noting = _Open(opened), _Delete(deleted)
    vfs[_VFS_OPEN], vfs[_VFS_DELETE] = (
        ctypes.cast(each, ctypes.c_void_p).value  # type: ignore[assignment]
        for each in noting
    )
    try:
        yield
    finally:
        vfs[_VFS_OPEN], vfs[_VFS_DELETE] = kept  # type: ignore[assignment]


def _name(pointer: int) -> str:
    return Path(os.fsdecode(ctypes.string_at(pointer))).name


Files = dict[str, bytes]


@dataclass
class Disk:
    """What is surely on the disk, and what was asked since and may be."""

    sure: Files = field(default_factory=dict)
    since: list[Op] = field(default_factory=list)
    _fresh: set[str] = field(default_factory=set)
    """Files that were not synced since they were opened."""

    def take(self, op: Op) -> None:
        """One operation more."""
        if op.kind == "open":
            self._fresh.add(op.file)
            return
        self.since.append(op)
        if op.kind == "sync":
            self._settle(lambda each: each.file == op.file)
            if op.file in self._fresh and not op.file.endswith(".db"):
                # The first sync of a log or journal syncs the folder too: os_unix.c, DIRSYNC.
                self._settle(lambda each: each.kind == "delete")
            self._fresh.discard(op.file)
        elif op.kind == "delete" and op.at:
            self._settle(lambda each: each.file == op.file or each.kind == "delete")

    def _settle(self, on_the_disk: Callable[[Op], bool]) -> None:
        for each in self.since:
            if on_the_disk(each):
                _do(self.sure, each)
        self.since = [each for each in self.since if not on_the_disk(each)]

    def after_a_cut(self, rng: random.Random) -> Iterator[tuple[str, Files]]:
        """What may be found on it, each with what happened."""
        ops = self.since
        yield "nothing since the last sync", self._with([])
        if not ops:
            return
        yield "all of it", self._with(ops)
        yield "a write torn at its end", self._with([*ops[:-1], *_torn(ops[-1], rng, head=True)])
        yield "a write torn at its start", self._with([*ops[:-1], *_torn(ops[-1], rng, head=False)])
        if len(ops) > 1:
            yield "the last write alone", self._with(ops[-1:])
            yield "one write lost", self._with(_without(ops, rng.randrange(len(ops))))
            yield (
                "one write lost, rubbish",
                self._with(_without(ops, rng.randrange(len(ops) - 1)), RUBBISH),
            )
            some = [each for each in ops if rng.random() < 0.5]
            yield "any of the writes", self._with(some)
            torn = [part for each in some for part in _torn(each, rng, head=rng.random() < 0.5)]
            rng.shuffle(torn)
            yield "any of the writes, each torn, in any order", self._with(torn, RUBBISH)

    def _with(self, ops: list[Op], filling: bytes = b"\0") -> Files:
        files = dict(self.sure)
        for op in ops:
            _do(files, op, filling)
        return files


def _do(files: Files, op: Op, filling: bytes = b"\0") -> None:
    held = files.get(op.file, b"")
    if op.kind == "delete":
        files.pop(op.file, None)
    elif op.kind == "truncate":
        files[op.file] = held[: op.at].ljust(op.at, b"\0")
    elif op.data is not None:
        gap = op.at - len(held)
        if gap > 0:
            held += (filling * (gap // len(filling) + 1))[:gap]
        files[op.file] = held[: op.at] + op.data + held[op.at + len(op.data) :]


def _torn(op: Op, rng: random.Random, *, head: bool) -> list[Op]:
    """A part of a write: whole sectors of the disk, from its start or to its end."""
    if op.data is None:
        return []
    first, last = op.at // SECTOR, (op.at + len(op.data) - 1) // SECTOR
    if first == last:
        return []
    cut = rng.randint(first + 1, last) * SECTOR - op.at
    if head:
        return [Op("write", op.file, op.at, op.data[:cut])]
    return [Op("write", op.file, op.at + cut, op.data[cut:])]


def _without(ops: list[Op], number: int) -> list[Op]:
    return [*ops[:number], *ops[number + 1 :]]


@dataclass
class Showing(Moments):
    """The screen of the noted session: what it has shown is promised."""

    log: Log = field(default_factory=Log)
    committed: int = 0

    def __call__(self, kind: str) -> None:
        """One moment."""
        self.committed += kind == "after the commit"
        if kind == "shown":
            self.log.shown = self.committed


def walk(folder: Path, calls: int) -> tuple[Log, list[Entry]]:
    """Erase one person, then measure another through several checkpoints and a restart."""
    log, pack = Log(), default_pack()
    path, numbers = folder / "visits.db", NumberWords(pack.grammar)
    showing = Showing(log=log)
    with noted(log):
        with open_store(path) as store:
            client = store.add_client(GONE, "female", at=NOON)
            store.edit_client(client.id, at=NOON, note="left handed")
            store.erase_client(client.id, at=NOON)
            log.erased = True
        for part in (calls // 2, calls):
            with sitting(path, pack, numbers, showing) as desk:
                desk.store.db.execute("PRAGMA wal_autocheckpoint = 24")
                while desk.visit.sequence < part and (keys := keys_for(desk.visit)):
                    desk.take(keys)
                entries = desk.entries()
        log.add(Op("open", path.name))
    return log, entries


def judged(path: Path, erased: bool, shown: int, entries: list[Entry]) -> None:
    """Open what the disk holds: nothing promised is missing, nothing else is there."""
    with open_store(path) as store:
        assert store.check() == ()
        names = [client.name for client in store.clients()]
        assert not (erased and GONE in names), "an erased person is back"
        found: list[Entry] = []
        for row in store.visits():
            assert row.client.name == WISH.client
            found = store.entries(row.id)
            replay(Plan.from_plain(row.plan), found)
        assert len(found) >= shown, f"{shown} calls were shown, {len(found)} are there"
        assert found == entries[: len(found)]
        # The disk is right again: the store goes on.
        store.add_assessor("Bo Lind", at=NOON)


def states(log: Log, rng: random.Random) -> Iterator[tuple[str, Files, bool, int]]:
    """Each thing that the disk may hold after a cut at each operation, with what was promised."""
    disk = Disk()
    for op, promised in zip(log.ops, log.promised, strict=True):
        disk.take(op)
        for what, files in disk.after_a_cut(rng):
            yield what, files, *promised


def main(arguments: list[str] | None = None, tell: Callable[[str], None] = print) -> int:
    """Try so many states, spread evenly, and print how many there were."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--states", type=int, help="how many to try (default: all)")
    parser.add_argument("--calls", type=int, default=60, help="calls of the visit")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args(arguments)
    if not can_be_noted():
        tell("This Python does not share its SQLite library: nothing tried.")
        return 0
    rng, count = random.Random(chosen.seed), Counter[str]()
    with tempfile.TemporaryDirectory() as name:
        folder, cut = Path(name), Path(name) / "cut"
        log, entries = walk(folder, chosen.calls)
        total = sum(1 for _ in states(log, random.Random(chosen.seed)))
        share = 1.0 if chosen.states is None else chosen.states / total
        for what, files, erased, shown in states(log, random.Random(chosen.seed)):
            if rng.random() >= share:
                continue
            shutil.rmtree(cut, ignore_errors=True)
            cut.mkdir()
            for file, held in files.items():
                (cut / file).write_bytes(held)
            if rng.random() < 0.25:
                (cut / "visits.db-shm").write_bytes(rng.randbytes(32_768))
            try:
                judged(cut / "visits.db", erased, shown, entries)
            except Exception as error:
                tell(f"after {count.total()} states: {what}: {type(error).__name__}: {error}")
                return 1
            count[what] += 1
    for what, number in sorted(count.items()):
        tell(f"{number:6d}  {what}")
    syncs = sum(op.kind == "sync" for op in log.ops)
    writes = sum(op.kind == "write" for op in log.ops)
    tell(f"{count.total()} states of the disk, {writes} writes and {syncs} syncs: nothing lost")
    return 0


if __name__ == "__main__":
    sys.exit(main())
