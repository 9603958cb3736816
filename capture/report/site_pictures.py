"""For each site of a visit its drawing, with how the fold was lifted and where the mark was."""

from collections.abc import Mapping
from dataclasses import replace
from html import escape

from capture.language.intents import length_from_plain
from capture.protocol.pictures import picture_of, svg
from capture.protocol.sites import HALF, Site
from capture.report.record import VisitRecord
from capture.report.results import protocol_of
from capture.report.setups import setups_of


def site_pictures(visit: VisitRecord) -> str:
    """The drawings of the sites that have readings, as HTML; empty where none can be drawn.

    Each shows the site, the line of its landmark and the direction of the fold as it was lifted.
    """
    protocol = protocol_of(visit)
    if protocol is None:
        return ""
    measured = {each.site for each in visit.readings if each.counts_tenths_mm is not None}
    setups = setups_of(visit, protocol)
    figures = []
    for site in protocol.sites:
        if site.id in measured and picture_of(site) is not None:
            setup = setups[site.id]
            taken = replace(site, side=setup.side, fold=setup.fold)
            figures.append(_figure(taken, visit))
    return f'<div class="sites">{"".join(figures)}</div>' if figures else ""


def _figure(site: Site, visit: VisitRecord) -> str:
    caption = (
        f"<b>{escape(site.title)}</b>, {site.fold.value} fold, {site.side.value} side: "
        f"{escape(site.landmark)}{_mark(visit.tapes.get(site.id), site)}."
    )
    drawn = svg(site, share=_share(site, visit))
    return f'<figure class="site">{drawn}<figcaption>{caption}</figcaption></figure>'


def _share(site: Site, visit: VisitRecord) -> tuple[int, int]:
    """Where the mark lay on the tape, by the rules of the visit."""
    rules = visit.plan.get("rules", 1)
    if not isinstance(rules, int) or rules < 2:
        return HALF
    return site.share_of(women=visit.plan.get("sex") == "female")


def _mark(tape: Mapping[str, object] | None, site: Site) -> str:
    mark = None if tape is None else tape.get("mark")
    if not isinstance(mark, Mapping):
        return ""
    try:
        return f"; marked at {length_from_plain(mark)} from {escape(site.tape_from or 'its end')}"
    except (KeyError, TypeError):
        return ""
