"""Opening a visit: taking an unfinished one up again, or beginning one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from capture import __version__
from capture.composition.forms import Sex
from capture.composition.options import years_on
from capture.composition.shown import NOTHING_TAKEN, Body
from capture.errors import CaptureError, MisuseError
from capture.protocol.caliper import STEPS_TENTHS_MM, Caliper
from capture.protocol.protocol import Protocol
from capture.protocol.setup import Carried
from capture.protocol.shipped import protocols
from capture.protocol_file import open_protocol
from capture.report.record import SOUND_CONSENT
from capture.store import Store
from capture.store.calipers import KeptCaliper
from capture.store.calipers import find as find_caliper
from capture.store.rows import Assessor, Client, VisitRow
from capture.visit.replay import replay
from capture.visit.setups import carried_from
from capture.visit.state import Confirmation, Plan, Visit

USUAL_PROTOCOL = "seven_sites"
USUAL_STEP_MM, USUAL_OPENING_MM = 0.2, 80.0


@dataclass(frozen=True, slots=True)
class Wish:
    """What the command line asks for."""

    client: str
    assessor: str
    sex: str | None = None
    age_years: int | None = None
    birth_date: str | None = None
    protocol: str | None = None
    caliper: str | None = None
    """Description or identifier of a kept caliper."""
    caliper_step_mm: float | None = None
    caliper_opening_mm: float | None = None
    new: bool = False
    keep_sound: bool | None = None
    """Whether the client agreed that the sound of calls is kept; None: nothing was said."""
    body: Body = NOTHING_TAKEN
    """Weight and height on the day."""
    confirmation: Confirmation = Confirmation.EACH
    """What makes a reading count, in a visit that is begun; one gone on with keeps its own."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A visit that was begun, or taken up again where it was left."""

    row: VisitRow
    visit: Visit
    resumed: bool


def open_visit(store: Store, wish: Wish, today: date, at: str) -> Opened:
    """Take up the client's unfinished visit, or begin one.

    `today` gives the age from a birth date. Raises MisuseError for what is missing or wrong,
    StoreError and ReplayError for a store that cannot be used.
    """
    if wish.keep_sound and store.is_encrypted:
        raise MisuseError(
            "Kept sound lies beside the store in plain files; an encrypted store keeps none.",
            "Leave --keep-sound out.",
        )
    client = store.find_client(wish.client)
    if client is not None and not wish.new:
        for row in store.open_visits():
            if row.client.id == client.id:
                plan = Plan.from_plain(row.plan)
                _settle_sound(store, row, wish)
                return Opened(row, replay(plan, store.entries(row.id)), True)
    before = None if client is None else _visit_before(store, client)
    last_time = None if before is None else carried_from(before)
    caliper = _caliper(store.calipers(), wish, last_time)
    plan = _plan(wish, client, today, caliper, _protocol(wish, before), last_time)
    if client is None:
        client = store.add_client(
            wish.client, sex=plan.sex.value, at=at, birth_date=wish.birth_date
        )
    assessor: Assessor = store.find_assessor(wish.assessor) or store.add_assessor(
        wish.assessor, at=at
    )
    settled = plan.to_plain()
    if wish.keep_sound:
        settled[SOUND_CONSENT] = True
    row = store.begin_visit(
        client.id, assessor.id, at=at, plan=settled, program_version=__version__
    )
    return Opened(row, Visit(plan), False)


def _settle_sound(store: Store, row: VisitRow, wish: Wish) -> None:
    """Take back the consent to keep sound; it cannot be given in the middle of a visit."""
    if wish.keep_sound is False:
        store.sounds.remove(row.id)
    elif wish.keep_sound and not row.plan.get(SOUND_CONSENT):
        raise MisuseError(
            "This visit was begun without the consent to keep sound.",
            "Leave --keep-sound out to go on with it, or add --new to begin another.",
        )


def _visit_before(store: Store, client: Client) -> Visit | None:
    """The client's last signed visit, None where there is none that can be gone on from."""
    left_open = {row.id for row in store.open_visits()}
    for row in store.visits(client.id):
        if row.id in left_open:
            continue
        try:
            before = replay(Plan.from_plain(row.plan), store.entries(row.id))
            carried_from(before)
        except (CaptureError, KeyError, TypeError, ValueError):
            # Imported, or written under other rules: it can be read, but not be gone on from.
            continue
        return before
    return None


def _protocol(wish: Wish, before: Visit | None) -> Protocol:
    """The protocol that is named; else that of the client's last visit, so that both compare."""
    if wish.protocol is not None:
        return open_protocol(wish.protocol)
    if before is None:
        return open_protocol(USUAL_PROTOCOL)
    kept = before.plan.protocol
    ours = protocols().get(kept.id)
    # A file of one's own may have kept the name of the protocol that it was copied from.
    is_ours = ours is not None and _outline(ours) == _outline(kept)
    return ours if ours is not None and is_ours else kept


def _outline(protocol: Protocol) -> tuple[object, ...]:
    sites = [(site.id, site.fold, site.side, site.landmark) for site in protocol.sites]
    return protocol.title, sites, protocol.circuits, protocol.tolerance, protocol.tape_up


def _caliper(kept: Sequence[KeptCaliper], wish: Wish, last_time: Carried | None) -> Caliper:
    """The caliper that is named; else that of the last visit; else the only one that is in use.

    Where none is, one that is told by its scale alone.
    """
    step, opening = wish.caliper_step_mm, wish.caliper_opening_mm
    told = step is not None or opening is not None
    if wish.caliper is not None:
        if told:
            raise MisuseError(
                "A kept caliper has its own scale.",
                "Leave --caliper-step and --caliper-opening out.",
            )
        return _in_use(find_caliper(kept, wish.caliper))
    offered = [each for each in kept if each.in_use]
    if offered and not told:
        before = [
            each for each in offered if last_time and each.caliper.description == last_time.caliper
        ]
        found = before or offered
        if len(found) > 1:
            names = ", ".join(f"'{each.caliper.description}'" for each in found)
            raise MisuseError("Several calipers are kept.", f"Add --caliper, one of {names}.")
        return found[0].caliper
    step_tenths = _tenths(USUAL_STEP_MM if step is None else step, "step")
    opening_tenths = _tenths(USUAL_OPENING_MM if opening is None else opening, "open")
    return Caliper(
        f"caliper in steps of {step_tenths / 10:g} mm to {opening_tenths / 10:g} mm",
        step_tenths,
        opening_tenths,
    )


def _in_use(kept: KeptCaliper) -> Caliper:
    if not kept.in_use:
        raise MisuseError(
            "This caliper is retired.",
            "Name another, or take it into use again with 'foldcall caliper return'.",
        )
    return kept.caliper


def _plan(
    wish: Wish,
    client: Client | None,
    today: date,
    caliper: Caliper,
    protocol: Protocol,
    last_time: Carried | None,
) -> Plan:
    sex = wish.sex or (None if client is None else client.sex)
    if sex is None:
        raise MisuseError("The client is new.", "Add --sex female or --sex male.")
    if client is not None and sex != client.sex:
        raise MisuseError(
            f"The store has this client as {client.sex}.", "Leave --sex out, or mend the store."
        )
    return Plan(
        protocol,
        caliper,
        Sex(sex),
        _age_years(wish, client, today),
        screening=True,
        assessor=wish.assessor,
        last_time=last_time,
        weight_kg=wish.body.weight_kg,
        height_cm=wish.body.height_cm,
        confirmation=wish.confirmation,
    )


def _tenths(length_mm: float, what: str) -> int:
    tenths = round(length_mm * 10)
    if not 1 <= tenths <= 999 or abs(tenths - length_mm * 10) > 1e-6:
        name = "--caliper-step" if what == "step" else "--caliper-opening"
        raise MisuseError(f"{name} {length_mm:g} is no such length.", "Give tenths of a mm: 0.2.")
    if what == "step" and tenths not in STEPS_TENTHS_MM:
        raise MisuseError(
            f"A scale step of {length_mm:g} mm is not known.", "Give 0.1, 0.2, 0.5 or 1."
        )
    return tenths


def _age_years(wish: Wish, client: Client | None, today: date) -> int:
    born = wish.birth_date or (None if client is None else client.birth_date)
    day = None
    if born is not None:
        try:
            day = date.fromisoformat(born)
        except ValueError as error:
            raise MisuseError(f"'{born}' is no date.", "Write it as 1985-03-31.") from error
    if wish.age_years is not None:
        age = wish.age_years
    elif day is not None:
        age = years_on(day, today)
    else:
        raise MisuseError("The client's age is not known.", "Add --age or --birth-date.")
    if not 5 <= age <= 110:
        raise MisuseError(f"An age of {age} years cannot be.", "Check --age or --birth-date.")
    return age
