"""The notes of a visit, and the calls that came too soon or too late after the jaws were on."""

from capture.protocol.dwell import Dwelt, dwelt
from capture.report.names import spaced
from capture.report.record import ReadingRecord, VisitRecord


def remark_lines(visit: VisitRecord) -> tuple[str, ...]:
    """Each note with its time and the site at hand; of a spoken one that there was one."""
    lines = []
    for at, fact in visit.other_facts:
        if fact.get("kind") != "remark":
            continue
        site, circuit = fact.get("site"), fact.get("circuit")
        where = f", {spaced(str(site))} {circuit or 'tape'}" if site else ""
        text = str(fact.get("text", "")) or "spoken; its sound only, if it was kept"
        lines.append(f"{at[11:16]}{where}: {text}")
    return tuple(lines)


def dwell_words(reading: ReadingRecord) -> str:
    """How long the jaws were on, where that was out of bounds; empty otherwise.

    A call sooner than one second or later than four after the cue is marked.
    """
    if reading.dwell_s is None:
        return ""
    words = {Dwelt.TOO_SOON: "too soon", Dwelt.LATE: "late", Dwelt.IN_TIME: ""}[
        dwelt(reading.dwell_s)
    ]
    return f"called {reading.dwell_s:.1f} s after the jaws were on, {words}" if words else ""


def dwell_lines(visit: VisitRecord) -> tuple[str, ...]:
    """Each reading that counts and was called too soon or too late."""
    counted = [each for each in visit.readings if each.counts_tenths_mm is not None]
    told = [(each, dwell_words(each)) for each in counted]
    return tuple(f"{spaced(each.site)} {each.circuit} {words}" for each, words in told if words)
