"""Readings from a table of comma-separated values: text in, visits out.

One line is one reading. The first line names the columns, in any order: `site` and `reading_mm`
must be there; `date`, `client`, `assessor`, `side`, `fold`, `caliper` and `clothing` may be.
Several readings of a site stand in the order they were taken. Messages name lines and columns,
never what stands in them: a cell may hold a name.
"""

import csv
import datetime
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from capture.composition.forms import FoldDirection
from capture.composition.measured import Conditions, MeasuredVisit, Side, SiteMeasurement
from capture.errors import CaptureError

NEEDED = ("site", "reading_mm")
OPTIONAL = ("date", "client", "assessor", "side", "fold", "caliper", "clothing")
MOST_LINES = 100_000
MOST_TENTHS_MM = 1000
"""No caliper opens so far; a larger number is a slip."""
_READING = re.compile(r"([0-9]{1,4})(?:\.([0-9])0*)?", re.ASCII)
_COLUMNS_HINT = (
    f"The first line names the columns, separated by commas: {', '.join(NEEDED)}, and if wanted "
    f"{', '.join(OPTIONAL)}."
)


@dataclass(frozen=True, slots=True)
class _Line:
    key: tuple[str, str, str]
    conditions: Conditions
    tenths_mm: int


def reading_tenths(text: str) -> int:
    """A reading in mm as written, in whole tenths. A ValueError says what is wrong with it.

    >>> reading_tenths("12.4"), reading_tenths("50")
    (124, 500)
    """
    found = _READING.fullmatch(text.strip())
    if found is None:
        raise ValueError("is no number of mm to a tenth, such as 12.4")
    tenths = int(found[1]) * 10 + int(found[2] or 0)
    if not 0 < tenths <= MOST_TENTHS_MM:
        raise ValueError(f"does not lie above 0 and up to {MOST_TENTHS_MM // 10} mm")
    return tenths


def visits_from_csv(text: str, known_sites: Collection[str]) -> tuple[MeasuredVisit, ...]:
    """The visits in a table, in the order they first occur.

    Lines with the same date, client and assessor are one visit. Anything that is not as the
    module says is a CaptureError with the number of the line.
    """
    lines: list[_Line] = []
    reader = csv.reader(text.splitlines(), strict=True)
    try:
        header = _header(next(reader, []))
        for row in reader:
            if any(cell.strip() for cell in row):
                lines.append(_line(row, header, reader.line_num, known_sites))
            if reader.line_num > MOST_LINES:
                raise CaptureError(
                    f"The table has more than {MOST_LINES} lines.", "Split it into several."
                )
    except csv.Error as error:
        raise _wrong(reader.line_num, "it is no comma-separated line") from error
    if not lines:
        raise CaptureError("The table holds no reading.", _COLUMNS_HINT)
    return _visits(lines)


def _header(row: list[str]) -> tuple[str, ...]:
    names = tuple(cell.strip().lower() for cell in row)
    missing = [name for name in NEEDED if name not in names]
    if missing:
        raise CaptureError(f"The table lacks the column {' and '.join(missing)}.", _COLUMNS_HINT)
    if len(set(names)) < len(names):
        raise CaptureError("The table has a column twice.", _COLUMNS_HINT)
    if set(names) - {*NEEDED, *OPTIONAL}:
        raise CaptureError("The table has a column that is not known here.", _COLUMNS_HINT)
    return names


def _wrong(line: int, why: str) -> CaptureError:
    return CaptureError(f"Line {line} of the table cannot be read: {why}.", "Nothing was computed.")


def _line(
    row: list[str], header: tuple[str, ...], number: int, known_sites: Collection[str]
) -> _Line:
    if len(row) != len(header):
        raise _wrong(number, f"it has {len(row)} cells where the first line has {len(header)}")
    cells = {name: cell.strip() for name, cell in zip(header, row, strict=True)}
    site = cells["site"].lower().replace(" ", "_")
    if site not in known_sites:
        raise _wrong(number, f"the site is none of {', '.join(sorted(known_sites))}")
    try:
        tenths_mm = reading_tenths(cells["reading_mm"])
    except ValueError as error:
        raise _wrong(number, f"the reading {error}") from None
    date = cells.get("date", "")
    if date and not _is_date(date):
        raise _wrong(number, "the date is not like 2026-05-04")
    key = (date, cells.get("client", ""), cells.get("assessor", ""))
    return _Line(key, _conditions(site, cells, number), tenths_mm)


def _is_date(text: str) -> bool:
    try:
        return datetime.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _conditions(site: str, cells: Mapping[str, str], number: int) -> Conditions:
    side, fold = cells.get("side", "").lower(), cells.get("fold", "").lower()
    if side and side not in [each.value for each in Side]:
        raise _wrong(number, "the side is neither right nor left")
    if fold and fold not in [each.value for each in FoldDirection]:
        raise _wrong(number, "the fold is neither vertical, horizontal nor diagonal")
    return Conditions(
        site=site,
        side=Side(side) if side else None,
        fold_direction=FoldDirection(fold) if fold else FoldDirection.NOT_STATED,
        caliper=cells.get("caliper") or None,
        clothing=cells.get("clothing") or None,
    )


def _visits(lines: list[_Line]) -> tuple[MeasuredVisit, ...]:
    found: dict[tuple[str, str, str], dict[str, tuple[Conditions, list[int]]]] = {}
    for line in lines:
        sites = found.setdefault(line.key, {})
        conditions, readings = sites.setdefault(line.conditions.site, (line.conditions, []))
        if conditions != line.conditions:
            raise CaptureError(
                f"In one visit the {conditions.site.replace('_', ' ')} was taken in two ways.",
                "Side, fold, caliper and clothing of a site are the same for all its readings.",
            )
        readings.append(line.tenths_mm)
    return tuple(
        MeasuredVisit(
            *key,
            tuple(SiteMeasurement(how, tuple(readings)) for how, readings in sites.values()),
        )
        for key, sites in found.items()
    )
