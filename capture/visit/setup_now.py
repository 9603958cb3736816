"""How a site is measured now: the protocol, then the last visit, then what was changed today."""

from dataclasses import replace

from capture.protocol.setup import BARE, SetupField, SiteSetup, usual_setup
from capture.visit.permissions import is_through_clothing
from capture.visit.state import SetupChanged, Visit


def setup_of(visit: Visit, site: str) -> SiteSetup:
    """The present setup of a site, with today's tape mark where there is one.

    The thickness of the cloth is None where clothing stays on and nobody has said it yet.
    """
    protocol_site = visit.plan.protocol.site(site)
    setup = usual_setup(protocol_site)
    earlier = None if visit.plan.last_time is None else visit.plan.last_time.site(site)
    if earlier is not None:
        setup = earlier
    for change in changes_of(visit, site):
        setup = setup.changed(change.field, change.value)
    for mark in visit.marks:
        if mark.site == site:
            setup = replace(setup, length=mark.length, mark=mark.mark)
    if setup.cloth_tenths_mm == BARE and is_through_clothing(visit) and not is_said(visit, site):
        return replace(setup, cloth_tenths_mm=None)
    return setup


def changes_of(visit: Visit, site: str) -> tuple[SetupChanged, ...]:
    """What was changed at a site today, in order."""
    return tuple(
        each for each in visit.done if isinstance(each, SetupChanged) and each.site == site
    )


def is_said(visit: Visit, site: str) -> bool:
    """Whether it was said today what lies between skin and caliper at this site."""
    return any(each.field is SetupField.CLOTH for each in changes_of(visit, site))


def is_carried(visit: Visit, site: str, field: SetupField) -> bool:
    """Whether what a field holds now is what the last visit handed on."""
    earlier = None if visit.plan.last_time is None else visit.plan.last_time.site(site)
    return earlier is not None and not any(each.field is field for each in changes_of(visit, site))


def worth_a_word(visit: Visit, site: str) -> SiteSetup | None:
    """The setup that is told when the site comes up: carried over, or other than usual."""
    setup = setup_of(visit, site)
    if any(mark.site == site for mark in visit.marks):
        # Marked today, and told then: only a mark of the last visit is worth a word.
        setup = replace(setup, length=None, mark=None)
    earlier = None if visit.plan.last_time is None else visit.plan.last_time.site(site)
    usual = usual_setup(visit.plan.protocol.site(site))
    bare = replace(setup, length=None, mark=None)
    return setup if earlier is not None or bare != usual else None
