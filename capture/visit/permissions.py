"""Permissions, what is settled before them and instead of them; and the moves that do it."""

from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum

from capture.language.intents import Choose, Note, Option, Stop
from capture.visit.announcement import Answered, Chosen, Noted, Prepared, Why
from capture.visit.entry import Plain
from capture.visit.moves import Outcome, drop_pending, is_pending, refused
from capture.visit.state import (
    Answer,
    Choice,
    NotedCaution,
    Permission,
    Preparation,
    Settled,
    Visit,
)

ENDINGS = frozenset(
    {Option.AIR_DISPLACEMENT, Option.UNDERWATER_WEIGHING, Option.IMPEDANCE, Option.POSTPONE}
)
"""Options after which nothing is measured with the caliper today."""

STANDS_IN: Mapping[Permission, Option] = {
    Permission.CLOTHING: Option.THROUGH_CLOTHING,
    Permission.MARKS: Option.CLIENT_LOCATES,
}
"""The option that makes a permission unnecessary; after any other it is asked once more."""


class Standing(StrEnum):
    """How it stands with one permission."""

    GRANTED = "granted"
    REFUSED = "refused"
    NOT_NEEDED = "not_needed"
    """What was settled on instead makes it unnecessary."""


def standings(visit: Visit) -> Mapping[Permission, Standing]:
    """How it stands with each permission that was asked; one that is to be asked is left out."""
    found: dict[Permission, Standing] = {}
    for each in visit.done:
        if isinstance(each, Answer):
            found[each.permission] = Standing.GRANTED if each.granted else Standing.REFUSED
        elif isinstance(each, Choice) and each.permission and each.option not in ENDINGS:
            found.pop(each.permission, None)
            if STANDS_IN.get(each.permission) is each.option:
                found[each.permission] = Standing.NOT_NEEDED
    return found


def next_permission(visit: Visit) -> Permission | None:
    """The first permission that is to be asked."""
    asked = standings(visit)
    return next((each for each in Permission if each not in asked), None)


def refused_permission(visit: Visit) -> Permission | None:
    """The permission that is refused or was withdrawn, if one is."""
    now = standings(visit)
    return next((each for each in Permission if now.get(each) is Standing.REFUSED), None)


def ending(visit: Visit) -> Option | None:
    """The option by which measuring has ended, if it has."""
    return next((each.option for each in visit.choices if each.option in ENDINGS), None)


def is_through_clothing(visit: Visit) -> bool:
    """Whether clothing stays on at the sites, whichever permission it was chosen for."""
    return any(each.option is Option.THROUGH_CLOTHING for each in visit.choices)


def takes_marks(visit: Visit) -> bool:
    """Whether the skin is marked: not where the client locates the landmarks."""
    return all(each.option is not Option.CLIENT_LOCATES for each in visit.choices)


def next_preparation(visit: Visit) -> Preparation | None:
    """The first thing that the plan wants settled before anybody is touched."""
    settled = {each.what: each.yes for each in visit.done if isinstance(each, Settled)}
    if settled.get(Preparation.READY):
        settled |= dict.fromkeys((Preparation.WIPED, Preparation.CAUTIONS), True)
    if settled.keys() & {Preparation.WIPED, Preparation.CAUTIONS}:
        # One of the two was settled alone: only the other is asked.
        settled.setdefault(Preparation.READY, False)
    return next((each for each in _wanted(visit) if each not in settled), None)


def _wanted(visit: Visit) -> list[Preparation]:
    plan = visit.plan
    wanted = [Preparation.WIPED, Preparation.CAUTIONS] if plan.screening else []
    if plan.screening and plan.rules >= 2:  # the version that brought it
        wanted.insert(0, Preparation.READY)
    if plan.last_time is not None:
        if plan.last_time.caliper != plan.caliper.description:
            wanted.append(Preparation.OTHER_CALIPER)
        if plan.last_time.assessor != plan.assessor:
            wanted.append(Preparation.OTHER_ASSESSOR)
    return wanted


def answer(visit: Visit, permission: Permission, *, granted: bool, at: str) -> Outcome:
    """Record the answer to the permission that is being asked."""
    given = Answer(permission, granted, at)
    fact = {"kind": "permission", "permission": permission.value, "granted": granted}
    return Outcome(
        replace(visit, done=(*visit.done, given)),
        (fact,),
        said=(Answered(permission.value, granted),),
    )


def prepare(visit: Visit, what: Preparation, *, yes: bool, at: str) -> Outcome:
    """Settle one thing of the preparation."""
    settled = Settled(what, yes, at)
    facts = [{"kind": "settled", "what": what.value, "yes": yes}]
    if what is Preparation.READY and yes:
        facts.append({"kind": "settled", "what": Preparation.WIPED.value, "yes": True})
        facts.append({"kind": "settled", "what": Preparation.CAUTIONS.value, "yes": False})
    return Outcome(
        replace(visit, done=(*visit.done, settled)),
        tuple(facts),
        said=(Prepared(what.value, yes),),
    )


def ready(visit: Visit, at: str) -> Outcome:
    """Settle in one word what is asked before anybody is touched: wiped, and no more cautions."""
    asked = next_preparation(visit)
    if is_pending(visit) or asked is None or ending(visit) is not None:
        return refused(visit, Why.NOT_NOW)
    if asked in {Preparation.WIPED, Preparation.CAUTIONS}:
        asked = Preparation.READY
    return prepare(visit, asked, yes=True, at=at)


def stop(visit: Visit, intent: Stop, at: str) -> Outcome:
    """The client withdraws a permission: what waits is dropped, and nothing goes on.

    It holds in a pause too, and whether or not it was heard clearly: a stop too many is undone
    with one word.
    """
    try:
        permission = Permission(intent.permission or Permission.TOUCH)
    except ValueError:
        return refused(visit, Why.NOT_NOW)
    dropped = drop_pending(replace(visit, paused=False))
    if standings(visit).get(permission) is Standing.REFUSED:
        return dropped
    outcome = answer(dropped.visit, permission, granted=False, at=at)
    withdrawn: Plain = {"kind": "withdrawn", "permission": permission.value}
    return Outcome(
        outcome.visit,
        (*dropped.facts, withdrawn),
        dropped.readings,
        (*dropped.said, *outcome.said),
    )


def choose(visit: Visit, intent: Choose, at: str) -> Outcome:
    """Record what is done instead of what was not permitted; the day goes on with it."""
    if is_pending(visit) or ending(visit) is not None:
        return refused(visit, Why.NOT_NOW)
    permission = refused_permission(visit)
    made = Choice(intent.option, permission, at)
    fact = {
        "kind": "chosen",
        "option": intent.option.value,
        "permission": None if permission is None else permission.value,
    }
    return Outcome(replace(visit, done=(*visit.done, made)), (fact,), said=(Chosen(intent.option),))


def note(visit: Visit, intent: Note, at: str) -> Outcome:
    """Record a reason for care."""
    if is_pending(visit):
        return refused(visit, Why.NOT_NOW)
    fact = {"kind": "noted", "caution": intent.caution.value}
    return Outcome(
        replace(visit, done=(*visit.done, NotedCaution(intent.caution, at))),
        (fact,),
        said=(Noted(intent.caution),),
    )
