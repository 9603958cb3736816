"""What `foldcall compute` takes from the store: a client's choices, an assessor's visits."""

import argparse
from dataclasses import dataclass
from datetime import date

from capture.composition.client import ClientDefaults
from capture.composition.equations import Sex
from capture.composition.options import completed_years, years_on
from capture.compute_tables import print_errors
from capture.errors import CaptureError, MisuseError
from capture.report.results import measured
from capture.reporting import latest_records
from capture.transfer import client_id_of, store_of


@dataclass(frozen=True, slots=True)
class Person:
    """Who the result is for: a client of the store with their choices, or nobody known."""

    defaults: ClientDefaults
    sex: Sex | None
    age_years: int
    of_store: bool = False


def person_of(chosen: argparse.Namespace) -> Person:
    """What is known of the person from the options, and of a named client from the store."""
    sex = None if chosen.sex is None else Sex(chosen.sex)
    if chosen.client is None:
        return Person(ClientDefaults(), sex, completed_years(chosen.age))
    with store_of(chosen) as store:
        client_id = client_id_of(store, chosen.client)
        client = next(each for each in store.clients() if each.id == client_id)
    if chosen.age is None and client.birth_date is not None:
        age = years_on(date.fromisoformat(client.birth_date), date.today())
    else:
        age = completed_years(chosen.age)
    return Person(ClientDefaults.from_plain(client.choices), sex or Sex(client.sex), age, True)


def print_tem_of_store(chosen: argparse.Namespace) -> int:
    """The error of an assessor of the store from their latest visits; the exit code."""
    with store_of(chosen) as store:
        known = store.assessors()
        if chosen.assessor is None and len(known) != 1:
            raise MisuseError("--assessor is missing.", "Name whose error is wanted.")
        names = [chosen.assessor or known[0].name, *([chosen.other] if chosen.other else [])]
        found = [store.find_assessor(name) for name in names]
        ids = [each.id for each in found if each is not None]
        if len(ids) < len(names):
            raise CaptureError("The store holds no such assessor.", "Check the name.")
        visits = tuple(map(measured, latest_records(store, dict.fromkeys(ids))))
    print_errors(visits, ids[0], ids[1] if len(ids) > 1 else None, as_json=chosen.json)
    return 0
