"""Makes stores full of invented visits, the same ones for the same seed.

A few hundred courses of a visit go through the machine, so that every journal can be replayed;
each visit follows one of them at its own time. People have names that nobody has;
`python tests/many_visits.py FILE COUNT` fills a store.
"""

import random
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from functools import cache, cached_property
from itertools import chain
from pathlib import Path
from typing import Any
from uuid import UUID

from capture.composition.forms import Sex
from capture.language.intents import Confirm, Correct, Intent, Reading, SignOff, Skip, SkipReason
from capture.language.intents import Tape as TapeCall
from capture.protocol.caliper import Caliper
from capture.protocol.protocol import SEVEN_SITES
from capture.store import Store, open_store, reading_id
from capture.store.rows import to_json
from capture.units import Inches
from capture.visit.call import Call, Rival
from capture.visit.course import next_target, phase
from capture.visit.entry import Entry, Source
from capture.visit.machine import Record, step
from capture.visit.state import Phase, Plan, Visit

ZONE = timezone(timedelta(hours=1))
START = datetime(2026, 1, 5, 8, tzinfo=ZONE)
_FIRST = ("Ada", "Bo", "Cy", "Dag", "Eva", "Finn", "Gro", "Ida", "Jon", "Kai", "Liv", "Mia")
_LAST = ("Alder", "Birk", "Carl", "Dahl", "Ekman", "Fors", "Gran", "Holm", "Lind", "Moe", "Ny")
LATER = "2026-02-01T17:00:00+01:00"
PER_CLIENT = 4
PER_DAY = 40
SIZES = 12
"""People are of so many sizes."""
COURSES = 12
"""So many courses for people of one sex and size."""
APART_S = 4
"""From one entry of a journal to the next."""


class _Made:
    """Chance of its own, so that a visit does not depend on those before it."""

    def __init__(self, seed: int, number: int) -> None:
        self.chance = random.Random(seed * 1_000_003 + number)

    def uuid(self) -> str:
        """An identifier from the seed."""
        return str(UUID(int=self.chance.getrandbits(128), version=4))


def people(count: int, seed: int = 1) -> dict[str, list[dict[str, Any]]]:
    """The clients and assessors of so many visits."""
    clients = []
    for number in range(max(1, count // PER_CLIENT)):
        made = _Made(seed, number + 10_000_000)
        clients.append(
            {
                "id": made.uuid(),
                "created_at": (START + timedelta(seconds=number)).isoformat(),
                "name": f"{made.chance.choice(_FIRST)} {made.chance.choice(_LAST)} {number}",
                "sex": made.chance.choice(["female", "male"]),
                "birth_date": f"{made.chance.randint(1960, 2004)}-03-02",
                "note": "",
            }
        )
    assessors = [
        {"id": _Made(seed, n + 20_000_000).uuid(), "created_at": START.isoformat(), "name": name}
        for n, name in enumerate(("Una Berg", "Tor Vik"))
    ]
    return {
        "clients": clients,
        "assessors": assessors,
        "client_edits": [],
        "client_links": [],
        "tombstones": [],
    }


def visits(count: int, seed: int = 1) -> Iterator[dict[str, Any]]:
    """So many visits as plain objects."""
    for head, course, began in _heads(count, seed):
        journal = [
            {**entry, "at": _at(began, number)} for number, entry in enumerate(course.journal)
        ]
        yield {**head, "plan": course.plan, "journal": journal, "results": [], "amendments": []}


def fill(path: str, count: int, seed: int = 1) -> None:
    """Fill a store with so many visits: what `Store.join` would write, many rows at once."""
    with open_store(path) as store:
        store.join(people(count, seed), (), named="chance", refuse_conflicts=True)
        db = store.db
        guards = db.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
            " AND tbl_name IN ('visits', 'journal', 'reading_facts')"
        ).fetchall()
        db.execute("BEGIN IMMEDIATE")
        for name, _ in guards:
            db.execute(f"DROP TRIGGER {name}")
        for table, rows in _TABLES.items():
            _insert(store, table, rows(count, seed))
        for _, statement in guards:
            db.execute(statement)
        db.execute("COMMIT")


def _insert(store: Store, table: str, rows: Iterator[tuple[Any, ...]]) -> None:
    first = next(rows, None)
    if first is not None:
        statement = f"INSERT INTO {table} VALUES ({', '.join('?' * len(first))})"
        store.db.conn.executemany(statement, chain([first], rows))


def _visit_rows(count: int, seed: int) -> Iterator[tuple[Any, ...]]:
    for head, course, _ in _heads(count, seed):
        yield (*(head[name] for name in _HEAD), course.plan_json, head["program_version"])


def _journal_rows(count: int, seed: int) -> Iterator[tuple[Any, ...]]:
    for head, course, began in _heads(count, seed):
        for number, row in enumerate(course.rows):
            yield (head["id"], number + 1, _at(began, number), *row)


def _fact_rows(count: int, seed: int) -> Iterator[tuple[Any, ...]]:
    for head, course, _ in _heads(count, seed):
        ids: dict[int, str] = {}
        for place, fact in course.facts:
            number = fact["number"]
            named = ids.setdefault(number, reading_id(head["id"], number))
            yield (
                head["id"], *place, number, named, fact["state"], fact["site"], fact["circuit"],
                fact["value_tenths_mm"],
            )  # fmt: skip


_HEAD = ("id", "client_id", "assessor_id", "started_at")
_TABLES: dict[str, Callable[[int, int], Iterator[tuple[Any, ...]]]] = {
    "visits": _visit_rows,
    "journal": _journal_rows,
    "reading_facts": _fact_rows,
}


def filled(path: Path, count: int = 12) -> Path:
    """A store of some visits with an amendment, a sign-off by name, and a name like a formula."""
    fill(str(path), count)
    with open_store(path) as store:
        visit = store.visits()[-1]
        store.edit_client(visit.client.id, at=LATER, name="=SUM(A1)", note="+left\r\n'knee'")
        number = next(
            store.db.execute(
                "SELECT number FROM confirmed_readings WHERE visit_id = ? AND value_mm <> 33.2",
                [visit.id],
            )
        )[0]
        store.amend(visit.id, at=LATER, by_name="Una Berg", reason="seen", kind="signed_off")
        store.amend(
            visit.id,
            at=LATER,
            by_name="Tor Vik",
            reason="=misread, the note says 33.2",
            kind="value",
            number=number,
            value_tenths_mm=332,
        )
    return path


@dataclass(frozen=True)
class Course:
    """How a visit went, apart from whose it was and when; its rows as the store keeps them."""

    plan: dict[str, Any]
    journal: list[dict[str, Any]]

    @cached_property
    def plan_json(self) -> str:
        """The plan as it is kept."""
        return to_json(self.plan, "plan")

    @cached_property
    def rows(self) -> list[tuple[Any, ...]]:
        """The journal without visit, number and time."""
        kinds = ("alternatives", "intent", "facts")
        return [
            (
                entry["source"],
                entry["words"],
                entry["confidence"],
                *(to_json(entry[kind], kind) for kind in kinds),
            )
            for entry in self.journal
        ]

    @cached_property
    def facts(self) -> list[tuple[tuple[int, int], dict[str, Any]]]:
        """Every fact of a reading, with its entry and its place there."""
        return [
            ((entry["sequence"], place), fact)
            for entry in self.journal
            for place, fact in enumerate(entry["readings"])
        ]


def _heads(count: int, seed: int) -> Iterator[tuple[dict[str, Any], Course, datetime]]:
    """For each visit whose it was, how it went and when it began."""
    known = people(count, seed)
    for number in range(count):
        made = _Made(seed, number)
        client = known["clients"][number % len(known["clients"])]
        day, place = divmod(number, PER_DAY)
        began = START + timedelta(days=day, minutes=12 * place)
        head = {
            "id": made.uuid(),
            "client_id": client["id"],
            "assessor_id": known["assessors"][number % 2]["id"],
            "started_at": began.isoformat(),
            "program_version": "0.1.0",
        }
        size = random.Random(client["id"]).randrange(SIZES)
        yield head, _course(seed, client["sex"], size, made.chance.randrange(COURSES)), began


@cache
def _course(seed: int, sex: str, size: int, number: int) -> Course:
    """One of the courses for people of this sex and size."""
    chance = random.Random(f"{seed} {sex} {size} {number}")
    plan = Plan(SEVEN_SITES, Caliper("dial caliper", 2, 800), Sex(sex), 20 + 5 * (number % 8))
    share = 0.7 + 0.9 * size / (SIZES - 1)
    # Some visits were left in the middle: the same share of them for every size.
    journal = _journal(plan, chance, share, unfinished=number == size)
    return Course(plan.to_plain(), [_plain(each) for each in journal])


def _at(began: datetime, number: int) -> str:
    return (began + timedelta(seconds=APART_S * number)).isoformat()


def _journal(plan: Plan, chance: random.Random, size: float, *, unfinished: bool) -> list[Entry]:
    visit, entries = Visit(plan), []

    def take(intent: Intent, words: str, confidence: float | None = None, rival: str = "") -> None:
        nonlocal visit
        at = _at(START, len(entries))
        rivals = (Rival(rival, 0.15, Reading(500)),) if rival else ()
        source = Source.KEYPAD if confidence is None else Source.VOICE
        visit, effects = step(visit, Call(intent, source, words, confidence, rivals), at)
        entries.extend(each.entry for each in effects if isinstance(each, Record))

    for _ in range(3):
        take(Confirm(), "granted", 0.99)
    while phase(visit) is Phase.TAPES:
        take(TapeCall(Inches(chance.randint(80, 140))), "six and three quarters", 0.98)
        take(Confirm(), "yes", 0.99)
    while phase(visit) is Phase.CIRCUITS:
        target = next_target(visit)
        assert target is not None
        if chance.random() < 0.01:
            take(Skip(SkipReason.UNABLE), "skip unable", 0.97)
            continue
        lowest, highest = plan.protocol.site(target.site).usual_tenths_mm
        middle = (lowest + (highest - lowest) * 0.3) * size
        value = 2 * round(chance.gauss(middle, 6) / 2)
        value = max(lowest, min(highest, value + value % 2))
        if chance.random() < 0.05:
            take(Reading(150), "fifteen", 0.84, "fifty")
            take(Correct(value), "no twelve point five", 0.95)
        elif chance.random() < 0.2:
            take(Reading(value), "keys")
        else:
            take(Reading(value), "twelve point five", round(chance.uniform(0.7, 1.0), 3))
        take(Confirm(), "enter")
        if unfinished and len(entries) > 25:
            return entries
    if chance.random() < 0.8:
        take(SignOff(), "sign off", 0.99)
    return entries


def _plain(entry: Entry) -> dict[str, Any]:
    return {
        "sequence": entry.sequence,
        "at": entry.at,
        "source": entry.source.value,
        "words": entry.words,
        "confidence": entry.confidence,
        "alternatives": [dict(each) for each in entry.alternatives],
        "intent": dict(entry.intent),
        "facts": [dict(each) for each in entry.facts],
        "readings": [
            {
                "number": each.number,
                "state": each.state.value,
                "site": each.site,
                "circuit": each.circuit,
                "value_tenths_mm": each.value_tenths_mm,
            }
            for each in entry.readings
        ],
    }


if __name__ == "__main__":
    fill(sys.argv[1], int(sys.argv[2]))
