"""What a reviewer does: look over the day, open a visit, amend with a reason, undo, sign off.

Nothing is changed before it was read back and confirmed: an action becomes `pending`, and
`confirm` carries it out. The plain lines and the screen both work through this.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from capture.composition.client import ClientDefaults
from capture.composition.table import reading_tenths
from capture.errors import CaptureError
from capture.report.amendments import ends
from capture.report.attention import RULES, Brief, brief_of, findings_of
from capture.report.day import DayRow, matching, ordered, visit_lines
from capture.report.record import CONFIRMED, ReadingRecord, VisitRecord, record_of
from capture.store import Store
from capture.units import millimetres
from capture.visit.state import Plan
from capture.wording.counted import counted

MANY = 400
"""More visits than these, looked over for the first time, take a second or more."""

AT_ONCE = 50
"""Visits read in one go; what is held of many at a time makes each of them slower."""

NO_SOUND = "No sound of this call is kept."


@dataclass(frozen=True, slots=True)
class Pending:
    """A change that waits for its yes, with the question that is read back."""

    question: str
    kind: str
    reason: str
    number: int | None = None
    value_tenths_mm: int | None = None
    undoing: bool = False
    by_name: str = ""


class Review:
    """One reviewer at one store.

    `now` gives the time as ISO 8601 with offset; `player` begins to play a kept call and gives its
    length in seconds; `busy` is told how many of how many visits were looked over for the first
    time, when that takes a while.
    """

    def __init__(
        self,
        store: Store,
        now: Callable[[], str],
        *,
        by_name: str = "",
        date: str | None = None,
        unsigned: bool = False,
        player: Callable[[bytes], float] | None = None,
        busy: Callable[[int, int], None] = lambda *_: None,
    ) -> None:
        self.by_name = by_name
        self._player, self._busy = player, busy
        self.filter = ""
        self.pending: Pending | None = None
        self.visit: VisitRecord | None = None
        self._store, self._now = store, now
        self._date, self._unsigned = date, unsigned
        self._rows: list[DayRow] = []
        self._filtered: tuple[str, list[DayRow]] | None = None
        self._row: DayRow | None = None
        self._undoable: list[tuple[str, int, str, int | None]] = []
        self.load()

    @property
    def rows(self) -> list[DayRow]:
        """The list as it is filtered, what needs attention first."""
        if self._filtered is None or self._filtered[0] != self.filter:
            self._filtered = (self.filter, matching(self._rows, self.filter))
        return self._filtered[1]

    @property
    def counted(self) -> str:
        """How many visits the list has, and by what it was narrowed."""
        rows = self.rows
        unsigned = sum(not row.signed for row in rows)
        found = f", found by '{self.filter}'" if self.filter.strip() else ""
        return f"{counted(len(rows), 'visit')}, {unsigned} not signed off{found}"

    @property
    def has_sound(self) -> bool:
        """Whether sound of the open visit is kept."""
        visit, _ = self._opened()
        return bool(self._store.sounds.kept(visit.id))

    def load(self) -> None:
        """Read the list again."""
        found = self._store.day_rows(self._date, unsigned=self._unsigned)
        wanted = {row["visit_id"] for row in found} | {row["last_id"] for row in found}
        briefs = self._briefs(sorted(wanted - {None}))
        self._filtered = None
        self._rows = ordered(
            [
                DayRow(
                    row["visit_id"],
                    row["started_at"],
                    row["client"],
                    row["assessor"],
                    bool(row["signed_off"]),
                    findings_of(briefs[row["visit_id"]], briefs.get(row["last_id"])),
                )
                for row in found
            ]
        )

    def _briefs(self, visit_ids: list[str]) -> dict[str, Brief]:
        """The briefs of some visits: those that are kept, and the others from their journals."""
        kept = self._store.briefs(RULES, visit_ids)
        found = {visit_id: Brief.from_plain(plain) for visit_id, plain in kept.items()}
        missing = [visit_id for visit_id in visit_ids if visit_id not in found]
        for start in range(0, len(missing), AT_ONCE):
            if len(missing) > MANY:
                self._busy(start, len(missing))
            made = []
            for each in self._store.light_snapshots(missing[start : start + AT_ONCE]):
                brief = found[each["id"]] = brief_of(record_of(each))
                counts = len(each["journal"]), len(each["amendments"])
                made.append((each["id"], *counts, brief.to_plain()))
            with suppress(CaptureError):
                # A list can be looked at even where nothing can be kept, or another writes.
                self._store.keep_briefs(RULES, made)
        if len(missing) > MANY:
            self._busy(len(missing), len(missing))
        return found

    def open(self, number: int) -> None:
        """Open the visit of this number in the list, counted from 1."""
        rows = self.rows
        if not 1 <= number <= len(rows):
            raise CaptureError(f"The list has no visit {number}.", f"It has {len(rows)}.")
        self._row = rows[number - 1]
        self._read()

    def close(self) -> None:
        """Go back to the list; what waited for its yes is dropped."""
        self.visit = self.pending = self._row = None

    def lines(self) -> list[str]:
        """The open visit as lines."""
        visit, row = self._opened()
        client = self._store.visit(visit.id).client
        choices = ClientDefaults.as_far_as_known(client.choices)
        return visit_lines(visit, row, choices, self._store.sounds.kept(visit.id))

    def place(self) -> int:
        """Where the open visit stands in the list, from 0; 0 if it is not there any more."""
        wanted = None if self._row is None else self._row.visit_id
        places = (n for n, row in enumerate(self.rows) if row.visit_id == wanted)
        return next(places, 0)

    def reading(self, number: int) -> ReadingRecord:
        """A reading of the open visit by its number."""
        visit, _ = self._opened()
        for each in visit.readings:
            if each.number == number:
                return each
        raise CaptureError(f"The visit has no reading {number}.", "Take a number of the first row.")

    def amend(self, number: int, value: str, reason: str) -> str:
        """Prepare another value for a reading; the question that is read back."""
        reading = self.reading(number)
        if reading.state != CONFIRMED:
            raise CaptureError(
                f"Reading {number} was {reading.state} and never counted.",
                "Amend the one that was confirmed.",
            )
        tenths = self._value(value)
        where = f"{reading.site.replace('_', ' ')}, circuit {reading.circuit}"
        question = (
            f"{where}: {millimetres(reading.value_tenths_mm)} mm was taken; it is to be "
            f"{_digit_by_digit(tenths)}, because: {reason.strip()}. Right?"
        )
        return self._prepare(Pending(question, "value", reason, number, tenths))

    def withdraw(self, number: int, reason: str) -> str:
        """Prepare that a reading does not count; the question that is read back."""
        reading = self.reading(number)
        if reading.counts_tenths_mm is None and not reading.is_forked:
            raise CaptureError("This reading does not count anyway.", "Nothing was changed.")
        question = (
            f"{reading.site.replace('_', ' ')}, circuit {reading.circuit}: "
            f"{millimetres(reading.value_tenths_mm)} mm is not to count, because: "
            f"{reason.strip()}. Right?"
        )
        return self._prepare(Pending(question, "withdrawn", reason, number))

    def undo(self) -> str:
        """Prepare to take back this reviewer's last amendment; the question."""
        visit, _ = self._opened()
        if not self._undoable or self._undoable[-1][0] != visit.id:
            raise CaptureError("There is nothing of yours to undo here.", "Nothing was changed.")
        _, number, kind, value = self._undoable[-1]
        told = "as it was taken" if value is None else _digit_by_digit(value)
        told = "not counting" if kind == "withdrawn" else told
        question = f"Reading {number} is to be {told} again. Right?"
        return self._prepare(Pending(question, kind, "undo", number, value, undoing=True))

    def sign(self, name: str) -> str:
        """Prepare the sign-off of the open visit by a name; the question."""
        visit, row = self._opened()
        if not name.strip():
            raise CaptureError("A visit is signed off by name.", "Give your name.")
        if visit.sign_off is not None:
            raise CaptureError("The visit is signed off by name already.", "Nothing was changed.")
        left = f" Still to look at: {row.told}." if row.findings else ""
        question = f"Sign off as {name.strip()}?{left}"
        return self._prepare(Pending(question, "signed_off", "sign-off", by_name=name.strip()))

    def confirm(self) -> str:
        """Carry out what waits; what was done, in words."""
        visit, _ = self._opened()
        pending = self.pending
        if pending is None:
            raise CaptureError("Nothing waits for a yes.", "")
        before = None if pending.number is None else self.reading(pending.number)
        self._store.amend(
            visit.id,
            at=self._now(),
            by_name=pending.by_name or self.by_name,
            reason=pending.reason.strip(),
            kind=pending.kind,
            number=pending.number,
            value_tenths_mm=pending.value_tenths_mm,
        )
        self.pending = None
        if pending.undoing:
            self._undoable.pop()
        elif before is not None:
            self._undoable.append((visit.id, before.number, *_stood(before)))
        told = "Amended; the old value is kept."
        if pending.kind == "signed_off":
            told = f"Signed off.{self._remove_sound(visit.id)}"
        self.load()
        self._read()
        return told

    def drop(self) -> str:
        """Drop what waits."""
        self.pending = None
        return "Nothing was changed."

    def play(self, number: int) -> str:
        """Play the sound of the call of a reading, or of another entry, where it was kept.

        Raises `CaptureError` where there is none, or no speaker.
        """
        visit, _ = self._opened()
        sound = self._store.sounds.of_entry(visit.id, number)
        if sound is None:
            reading = self.reading(number)
            why = "It was keyed." if reading.source == "keypad" else _why_no_sound(visit)
            raise CaptureError(NO_SOUND, why)
        if self._player is None:
            raise CaptureError("There is no speaker here.", "The words as heard are in the list.")
        return f"Entry {number}: {self._player(sound):.1f} s of sound."

    def remove_sound(self) -> str:
        """Remove the kept sound of the open visit: the client took the consent back."""
        visit, _ = self._opened()
        calls = self._store.sounds.remove(visit.id)
        return f"The sound of {calls} calls was removed." if calls else NO_SOUND

    def _remove_sound(self, visit_id: str) -> str:
        try:
            calls = self._store.sounds.remove(visit_id)
        except CaptureError as error:
            return f" {error} It is tried again at the next start."
        return f" The kept sound of {calls} calls was removed." if calls else ""

    def _prepare(self, pending: Pending) -> str:
        if not pending.reason.strip():
            raise CaptureError("An amendment needs a reason.", "Say why after the value.")
        if not (pending.by_name or self.by_name).strip():
            raise CaptureError("It is not known who you are.", "Say 'by NAME', or start with --by.")
        self.pending = pending
        return pending.question

    def _value(self, text: str) -> int:
        visit, _ = self._opened()
        try:
            tenths = reading_tenths(text)
        except ValueError as error:
            raise CaptureError(f"The value {error}.", "Write it in mm, such as 12.4.") from error
        try:
            caliper = Plan.from_plain(visit.plan).caliper
        except (KeyError, TypeError, ValueError):
            return tenths
        if not caliper.within_opening(tenths) or not caliper.on_scale(tenths):
            raise CaptureError(
                f"The caliper of this visit does not show {millimetres(tenths)} mm.",
                "Look at the value again.",
            )
        return tenths

    def _opened(self) -> tuple[VisitRecord, DayRow]:
        if self.visit is None or self._row is None:
            raise CaptureError("No visit is open.", "Open one of the list by its number.")
        return self.visit, self._row

    def _read(self) -> None:
        if self._row is None:
            return
        kept = self._row
        self._row = next((row for row in self._rows if row.visit_id == kept.visit_id), kept)
        self.visit = record_of(self._store.visit_snapshot(kept.visit_id))


def _why_no_sound(visit: VisitRecord) -> str:
    if visit.sign_off is not None:
        return "It is removed when a visit is signed off by name."
    if not visit.agreed_to_sound:
        return "The client was not asked for it, or did not agree: 'foldcall measure --keep-sound'."
    return "The call was not kept, or its sound was removed since."


def _stood(reading: ReadingRecord) -> tuple[str, int | None]:
    """How a reading stood, as the amendment that brings it back."""
    if not reading.amendments or reading.is_forked:
        return "as_taken", None
    last = ends(reading.amendments)[0]
    return (last["kind"], last["value_tenths_mm"])


def _digit_by_digit(value_tenths_mm: int) -> str:
    """A value in figures and once more digit by digit: fifteen cannot be read for fifty.

    >>> _digit_by_digit(150)
    '15.0 mm (1, 5, point 0)'
    """
    whole, tenth = divmod(value_tenths_mm, 10)
    return f"{millimetres(value_tenths_mm)} mm ({', '.join(str(whole))}, point {tenth})"
