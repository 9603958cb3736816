"""How each site is measured, from visit to visit; and the moves that change it."""

from dataclasses import replace

from capture.language.intents import SetCloth, SetFold, SetSide, SetupChange
from capture.protocol.setup import BARE, Carried, SetupField
from capture.protocol.sites import Site
from capture.visit.announcement import Dropped, SetupSaved, Why
from capture.visit.course import next_tape, next_target, phase
from capture.visit.moves import Outcome, is_pending, refused, setup_fact
from capture.visit.setup_now import is_carried, setup_of
from capture.visit.state import Phase, SetupChanged, Visit

__all__ = [
    "carried_from",
    "change_setup",
    "confirm_setup",
    "drop_setup",
    "setup_of",
    "site_at_hand",
]


def site_at_hand(visit: Visit) -> Site:
    """The site that is measured or asked about now, as it is measured: its side and its fold.

    Where none is, the first of the protocol.
    """
    waiting = (visit.pending_tape, visit.pending_setup)
    target = visit.pending.target if visit.pending is not None else next_target(visit)
    tape = next_tape(visit) if phase(visit) is Phase.TAPES else None
    names = [each.site for each in waiting if each is not None]
    name = next(iter((*names, *([tape] if tape else []), *([target.site] if target else []))), None)
    site = visit.plan.protocol.sites[0] if name is None else visit.plan.protocol.site(name)
    setup = setup_of(visit, site.id)
    return replace(site, side=setup.side, fold=setup.fold)


def change_setup(visit: Visit, intent: SetupChange) -> Outcome:
    """Ask whether the present site is measured in another way from now on."""
    target = next_target(visit)
    if is_pending(visit) or phase(visit) is not Phase.CIRCUITS or target is None:
        return refused(visit, Why.NOT_NOW)
    field, value = _wanted(intent)
    now = setup_of(visit, target.site)
    if now.value(field) == value:
        return refused(visit, Why.ALREADY_SO, target.site)
    last_time = is_carried(visit, target.site, field)
    change = SetupChanged(target.site, field, now.value(field), value, last_time)
    return Outcome(
        replace(visit, pending_setup=change, chosen=target.site),
        (setup_fact("setup_heard", change),),
    )


def confirm_setup(visit: Visit, change: SetupChanged) -> Outcome:
    """The site is measured so from now on."""
    return Outcome(
        replace(visit, pending_setup=None, done=(*visit.done, change)),
        (setup_fact("setup_changed", change),),
        said=(SetupSaved(change.site, change.field, change.value),),
    )


def drop_setup(visit: Visit, change: SetupChanged) -> Outcome:
    """The site is measured as it was."""
    return Outcome(
        replace(visit, pending_setup=None),
        (setup_fact("setup_dropped", change),),
        said=(Dropped(change.site),),
    )


def carried_from(visit: Visit) -> Carried:
    """What this visit hands on to the client's next one.

    A site that was not measured today keeps what the visit before handed on.
    """
    sites = []
    for site in visit.plan.protocol.sites:
        setup = setup_of(visit, site.id)
        earlier = None if visit.plan.last_time is None else visit.plan.last_time.site(site.id)
        if visit.readings_of(site.id) and setup.cloth_tenths_mm is not None:
            sites.append(setup)
        elif earlier is not None:
            sites.append(earlier)
        elif setup.mark is not None:
            sites.append(replace(setup, cloth_tenths_mm=BARE))
    return Carried(visit.plan.caliper.description, visit.plan.assessor, tuple(sites))


def _wanted(intent: SetupChange) -> tuple[SetupField, str | int]:
    match intent:
        case SetFold(fold):
            return SetupField.FOLD, fold.value
        case SetSide(side):
            return SetupField.SIDE, side.value
        case SetCloth(cloth_tenths_mm):
            return SetupField.CLOTH, cloth_tenths_mm
        case _:
            return SetupField.OFFSET, intent.offset_mm
