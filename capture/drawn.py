"""What of a screen follows from the visit alone: the question, the table, the way done. Pure."""

import re
from dataclasses import dataclass
from typing import Any

from capture.composition.statistics import settle, shown_tenths
from capture.protocol.dwell import Dwelt
from capture.screen.menus import is_screening
from capture.screen.plain import progress
from capture.screen.view import TableRow
from capture.units import millimetres
from capture.visit.announcement import (
    AllMeasured,
    Announcement,
    AskPermission,
    AskPreparation,
    AskReading,
    AskTape,
    Ended,
    Paused,
    ReadBack,
    ReadBackTape,
    Signed,
    Stopped,
)
from capture.visit.course import next_target, question
from capture.visit.state import Target, Visit
from capture.wording import trade

_OUT_OF_TIME = {Dwelt.TOO_SOON: "TOO SOON", Dwelt.LATE: "LATE"}
_SCREENING = "Enter: ready. A number: a reason for care."
ORDINALS = ("first", "second", "third", "fourth", "fifth")


@dataclass(frozen=True, slots=True)
class Drawn:
    """Headline with what is said about it, a row for each site, and how far the visit is."""

    headline: str
    about: str
    table: tuple[TableRow, ...]
    progress: str


def drawn_of(visit: Visit) -> Drawn:
    """Work it out."""
    asked = question(visit)
    present = next_target(visit) if visit.pending is None else visit.pending.target
    return Drawn(
        headline=_headline(asked, visit),
        about=_about(asked, visit),
        table=tuple(_row(site.id, visit, present) for site in visit.plan.protocol.sites),
        progress=progress(visit).rpartition("] ")[2],
    )


class Remembered:
    """Works it out once a step: a screen looks ten times a second, and a visit seldom changes."""

    def __init__(self) -> None:
        self._last: tuple[Visit, Drawn] | None = None

    def __call__(self, visit: Visit) -> Drawn:
        """The same as `drawn_of`."""
        if self._last is None or self._last[0] is not visit:
            self._last = visit, drawn_of(visit)
        return self._last[1]


def _headline(asked: Announcement, visit: Visit) -> str:
    match asked:
        case Paused():
            return "paused"
        case AskPreparation(what="ready" | "wiped" as what):
            return f"{what}?"
        case AllMeasured():
            return "all done"
        case Stopped():
            return "stopped"
        case Signed():
            return "signed"
    told: Any = asked
    site = getattr(told, "site", None)
    if site is not None:
        return next((each.title for each in visit.plan.protocol.sites if each.id == site), site)
    kind = re.sub("(?<=[a-z])(?=[A-Z])", " ", type(told).__name__).removeprefix("Ask ")
    named = getattr(told, "permission", None) or getattr(told, "what", None)
    return str(named or kind).replace("_", " ")


def _about(asked: Announcement, visit: Visit) -> str:
    match asked:
        case AskReading(circuit=circuit) | ReadBack(circuit=circuit):
            if circuit > visit.plan.protocol.circuits:
                return f"a third: the two disagree{_out_of_time(visit)}"
            return f"{ORDINALS[circuit - 1]} circuit{_out_of_time(visit)}"
        case ReadBackTape(mark=mark):
            return f"MARK AT {mark}"
        case AskPreparation() if is_screening(visit):
            noted = ", ".join(trade.CAUTION_NAMES[each] for each in dict.fromkeys(visit.cautions))
            return f"Noted: {noted}. Enter: ready." if noted else _SCREENING
        case AskPreparation() | AskPermission():
            return "Enter: yes. -: no."
        case Stopped():
            return "Choose by its number what is done instead."
        case Ended():
            return "Nothing more is measured: undo, or sign off."
        case AllMeasured():
            return "Nothing is left to measure: sign off."
        case Paused():
            return "Nothing is taken until the visit goes on."
        case Signed():
            return "The visit is closed."
    if isinstance(asked, AskTape):
        last = "" if asked.last_time is None else f", last time {asked.last_time}"
        return f"tape length{last}"
    return ""


def _out_of_time(visit: Visit) -> str:
    """The mark of the reading that waits, if it was called too soon or too late."""
    pending = visit.pending
    if pending is None or pending.dwell is None or pending.dwell not in _OUT_OF_TIME:
        return ""
    return f": {pending.dwell_s:.1f} s, {_OUT_OF_TIME[pending.dwell]}"


def _row(site_id: str, visit: Visit, present: Target | None) -> TableRow:
    protocol = visit.plan.protocol
    pending = visit.pending
    third_due = protocol.third_due(visit.trials(site_id)[: protocol.circuits])
    cells = []
    for circuit in range(1, protocol.circuits + 2):
        target = Target(site_id, circuit)
        taken = [each for each in visit.confirmed if each.target == target]
        if taken:
            mark = "!" if taken[-1].dwell in _OUT_OF_TIME else ""
            cells.append(f"{millimetres(taken[-1].value_tenths_mm)}{mark}")
        elif pending is not None and pending.target == target:
            cells.append(f"{millimetres(pending.value_tenths_mm)}?")
        elif circuit > protocol.circuits:
            cells.append("due" if third_due and not visit.is_skipped(target) else "")
        else:
            cells.append("skip" if visit.is_skipped(target) else "-")
    trials = visit.trials(site_id)
    about = "~" if visit.is_estimate(site_id) else ""
    settled = settle(trials) if trials else None
    third = Target(site_id, protocol.circuits + 1)
    needs_third = third_due and len(trials) == protocol.circuits and not visit.is_skipped(third)
    return TableRow(
        site=protocol.site(site_id).title,
        readings=tuple(cells),
        value=f"{about}{millimetres(shown_tenths(settled.value_tenths_mm))}" if settled else "",
        how="" if settled is None or len(trials) < 2 else settled.how.value,
        spread=millimetres(settled.spread_tenths_mm) if settled and len(trials) > 1 else "",
        open="needs a third" if needs_third else "",
        present=present is not None and present.site == site_id,
    )
