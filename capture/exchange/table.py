"""The tidy table: one reading a row, as CSV in UTF-8.

A spreadsheet takes text that begins with = + - @ (the wide ones of East Asian fonts too), a tab or
a line break as a formula, some also after blanks. Such text is written with an apostrophe before
it, as OWASP says of CSV injection and in ASVS 5.0, 1.2.10, which adds NUL; so is text that begins
with an apostrophe. Reading takes one apostrophe away again.
"""

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from capture.exchange.columns import COLUMNS, NAMES
from capture.report.record import ReadingRecord, VisitRecord, record_of
from capture.units import millimetres

GUARDED = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠", "'")
Row = dict[str, str]


def guard(text: str) -> str:
    """Text as no spreadsheet takes it for a formula.

    >>> guard("=1+1"), guard("Ada"), guard("'s")
    ("'=1+1", 'Ada', "''s")
    """
    risky = text.startswith(GUARDED) or text.lstrip().startswith(GUARDED)
    return f"'{text}" if risky else text


def unguard(text: str) -> str:
    """The text that `guard` was given.

    >>> unguard("'=1+1"), unguard("Ada")
    ('=1+1', 'Ada')
    """
    return text.removeprefix("'")


def table_lines(
    people: Mapping[str, Iterable[Mapping[str, Any]]], visits: Iterable[Mapping[str, Any]]
) -> Iterator[str]:
    """The table as lines with their ends; equal stores give equal lines."""
    clients = {row["id"]: row for row in people["clients"]}
    assessors = {row["id"]: row for row in people["assessors"]}
    yield _line(NAMES)
    for visit in visits:
        record = record_of(visit)
        client, assessor = clients[record.client_id], assessors[record.assessor_id]
        for place, reading in enumerate(record.readings):
            row = row_of(record, reading, client, assessor)
            if place:
                row["plan"] = ""  # long, and the same for the whole visit
            yield _line(guard(row[name]) for name in NAMES)


def dictionary_lines() -> Iterator[str]:
    """What each column of the table says, as a table of its own."""
    yield _line(("column", "meaning", "unit", "values"))
    for each in COLUMNS:
        yield _line((each.name, each.meaning, each.unit, each.values))


def row_of(
    visit: VisitRecord,
    reading: ReadingRecord,
    client: Mapping[str, Any],
    assessor: Mapping[str, Any],
) -> Row:
    """One reading as text by column, not yet guarded."""
    counts = reading.counts_tenths_mm
    sign_offs = [dict(each) for each in visit.amendments if each["number"] is None]
    return {
        "visit_id": visit.id,
        "visit_started_at": visit.started_at,
        "client_id": client["id"],
        "client": client["name"],
        "sex": client["sex"],
        "birth_date": client["birth_date"] or "",
        "client_added_at": client["created_at"],
        "client_note": client["note"],
        "assessor_id": assessor["id"],
        "assessor": assessor["name"],
        "assessor_added_at": assessor["created_at"],
        "program_version": visit.program_version,
        **of_plan(visit.plan),
        "plan": to_json(visit.plan),
        "reading": str(reading.number),
        "site": reading.site,
        "circuit": str(reading.circuit),
        "value_mm": millimetres(reading.value_tenths_mm),
        "state": reading.state,
        "counts_mm": _tenths(counts),
        "source": reading.source,
        "words": reading.words,
        "confidence": "" if reading.confidence is None else repr(reading.confidence),
        "alternatives": to_json(list(reading.alternatives)) if reading.alternatives else "",
        "doubts": "; ".join(_doubt(kind, other) for kind, other in reading.doubts),
        "cloth_mm": _tenths(reading.cloth_tenths_mm),
        "net_mm": _tenths(reading.net_tenths_mm),
        "dwell_s": "" if reading.dwell_s is None else repr(reading.dwell_s),
        "heard_at": reading.heard_at,
        "changed_at": reading.changed_at,
        "changed_entry": str(reading.changed_entry),
        "amendments": to_json([dict(each) for each in reading.amendments])
        if reading.amendments
        else "",
        "signed_at": visit.signed_at or "",
        "signed_entry": "" if visit.signed_entry is None else str(visit.signed_entry),
        "sign_offs": to_json(sign_offs) if sign_offs else "",
    }


def of_plan(plan: Mapping[str, Any]) -> Row:
    """What of the plan has columns of its own."""
    caliper = plan.get("caliper")
    described = caliper.get("description", "") if isinstance(caliper, Mapping) else ""
    return {
        "protocol": str(plan.get("protocol", "")),
        "age_years": str(plan.get("age_years", "")),
        "caliper": str(described),
    }


def to_json(value: object) -> str:
    """JSON in the form in which the store keeps it."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _tenths(value_tenths_mm: int | None) -> str:
    return "" if value_tenths_mm is None else millimetres(value_tenths_mm)


def _doubt(kind: str, other_tenths_mm: int | None) -> str:
    return kind if other_tenths_mm is None else f"{kind} {millimetres(other_tenths_mm)}"


def _line(cells: Iterable[str]) -> str:
    written = io.StringIO()
    # Before Python 3.13 a cell with a bare return is quoted only if lines end with one.
    csv.writer(written, lineterminator="\r\n").writerow(cells)
    return written.getvalue().removesuffix("\r\n") + "\n"
