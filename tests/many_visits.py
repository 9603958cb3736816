"""Makes stores full of invented visits, the same ones for the same seed.

Each visit goes through the machine, so that its journal can be replayed. People have names that
nobody has; `python tests/many_visits.py FILE COUNT` fills a store.
"""

import random
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any
from uuid import UUID

from capture.composition.forms import Sex
from capture.language.intents import Confirm, Correct, Intent, Reading, SignOff, Skip, SkipReason
from capture.language.intents import Tape as TapeCall
from capture.protocol.caliper import Caliper
from capture.protocol.protocol import SEVEN_SITES
from capture.store import open_store
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
    known = people(count, seed)
    for number in range(count):
        client = known["clients"][number % len(known["clients"])]
        yield _visit(number, seed, client, known["assessors"][number % 2])


def fill(path: str, count: int, seed: int = 1) -> None:
    """Fill a store with so many visits."""
    with open_store(path) as store:
        store.join(people(count, seed), visits(count, seed), named="chance", refuse_conflicts=True)


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


def _visit(
    number: int, seed: int, client: dict[str, Any], assessor: dict[str, Any]
) -> dict[str, Any]:
    made = _Made(seed, number)
    day, place = divmod(number, PER_DAY)
    began = START + timedelta(days=day, minutes=12 * place)
    plan = Plan(
        SEVEN_SITES,
        Caliper("dial caliper", 2, 800),
        Sex(client["sex"]),
        began.year - int(client["birth_date"][:4]) - 1,
    )
    return {
        "id": made.uuid(),
        "client_id": client["id"],
        "assessor_id": assessor["id"],
        "started_at": began.isoformat(),
        "plan": plan.to_plain(),
        "program_version": "0.1.0",
        "journal": [_plain(each) for each in _journal(plan, began, made.chance, client["id"])],
        "results": [],
        "amendments": [],
    }


def _journal(plan: Plan, began: datetime, chance: random.Random, client: str) -> list[Entry]:
    size = random.Random(client).uniform(0.7, 1.6)
    visit, entries = Visit(plan), []
    unfinished = chance.random() < 0.1

    def take(intent: Intent, words: str, confidence: float | None = None, rival: str = "") -> None:
        nonlocal visit
        at = (began + timedelta(seconds=4 * len(entries))).isoformat()
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
