"""The command `foldcall caliper`: which there are, their gauge block checks, which are retired."""

import argparse
from datetime import date, timedelta

from capture.errors import MisuseError
from capture.protocol.caliper import (
    CHECK_EVERY_DAYS,
    STEPS_TENTHS_MM,
    Caliper,
    GaugeCheck,
    GaugePoint,
    caliper_warnings,
)
from capture.store.calipers import CaliperChange, KeptCaliper, find
from capture.terminal import show
from capture.transfer import store_of, store_option
from capture.units import millimetres
from capture.wiring import local_time

FEW_OPENINGS = 3
"""A check at fewer openings says little of the scale between. Common practice, no source."""


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `caliper` to the commands of a parser."""
    parser = commands.add_parser("caliper", help="keep calipers and their gauge block checks")
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    listed = actions.add_parser("list", help="every caliper with its last check")
    listed.set_defaults(command=_list)
    shown = actions.add_parser("show", help="one caliper with all its checks and their drift")
    shown.add_argument("caliper", metavar="CALIPER", help="description or identifier")
    shown.set_defaults(command=_show)
    add = actions.add_parser("add", help="keep a caliper")
    add.add_argument(
        "description", help='what it is, without its make, such as "dial caliper, grey case"'
    )
    add.add_argument("--step", metavar="MM", required=True, help="0.1, 0.2, 0.5 or 1")
    add.add_argument("--opening", metavar="MM", required=True, help="how far it opens, such as 80")
    add.set_defaults(command=_add)
    check = actions.add_parser("check", help="enter a check with gauge blocks")
    check.add_argument("caliper", metavar="CALIPER", help="description or identifier")
    check.add_argument(
        "points",
        metavar="BLOCK=READ",
        nargs="+",
        help="what a block measures and what was read, in mm, such as 10=10.2",
    )
    check.add_argument("--by", metavar="NAME", required=True, help="who checked")
    check.add_argument("--on", metavar="DATE", help="the day, such as 2026-03-02 (default: today)")
    check.set_defaults(command=_check)
    retire = actions.add_parser("retire", help="offer a caliper no more: sold, broken, lost")
    retire.set_defaults(command=_retire)
    taken_back = actions.add_parser("return", help="take a retired caliper into use again")
    taken_back.set_defaults(command=_return)
    for each, reason in ((retire, "sold"), (taken_back, "repaired")):
        each.add_argument("caliper", metavar="CALIPER", help="description or identifier")
        each.add_argument("--by", metavar="NAME", required=True, help="who says so")
        each.add_argument(
            "--because", metavar="REASON", required=True, help=f'why, such as "{reason}"'
        )
    for each in (listed, shown, add, check, retire, taken_back):
        store_option(each)


def _list(chosen: argparse.Namespace) -> int:
    with store_of(chosen) as store:
        kept = store.calipers()
    if not kept:
        show("No caliper is kept. Add one with 'foldcall caliper add'.")
    for each in sorted(kept, key=lambda each: not each.in_use):
        show(f"{_head(each)}  {_last(each)}")
        if each.in_use:
            _warn(each.caliper)
        else:
            show(f"  retired {_change(each.changes[-1])}")
    return 0


def _show(chosen: argparse.Namespace) -> int:
    with store_of(chosen) as store:
        kept = find(store.calipers(), chosen.caliper)
    show(_head(kept))
    show(f"Identifier {kept.id}, added {kept.added_at[:10]}.")
    for by_name, check in kept.checks:
        show(f"{check.on}  {by_name}")
        for point in check.points:
            show(f"  {_point(point)}")
    for change in kept.changes:
        show(f"{'In use again' if change.in_use else 'Retired'} {_change(change)}")
    if kept.in_use:
        _warn(kept.caliper)
    return 0


def _add(chosen: argparse.Namespace) -> int:
    if not chosen.description.strip():
        raise MisuseError("The description is empty.", "Say what the caliper is.")
    step = tenths_of(chosen.step, "step")
    if step not in STEPS_TENTHS_MM:
        raise MisuseError(
            f"A scale step of {chosen.step} mm is not known.", "Give 0.1, 0.2, 0.5 or 1."
        )
    opening = tenths_of(chosen.opening, "opening")
    if not 100 <= opening <= 999:
        raise MisuseError(
            f"An opening of {chosen.opening} mm cannot be.", "Give millimetres from 10 to 99.9."
        )
    caliper = Caliper(chosen.description.strip(), step, opening)
    with store_of(chosen, create=True) as store:
        store.add_caliper(caliper, at=local_time())
    show(f"Kept: {caliper.description}. Enter its check with 'foldcall caliper check'.")
    return 0


def _check(chosen: argparse.Namespace) -> int:
    day = _day(chosen.on)
    if not chosen.by.strip():
        raise MisuseError("The name is empty.", "Say with --by who checked.")
    with store_of(chosen) as store:
        kept = find(store.calipers(), chosen.caliper)
        points = tuple(point_of(told, kept.caliper) for told in chosen.points)
        blocks = [each.nominal_tenths_mm for each in points]
        if len(set(blocks)) < len(blocks):
            raise MisuseError("A gauge block is named twice.", "Name each opening once.")
        check = GaugeCheck(day, tuple(sorted(points, key=lambda each: each.nominal_tenths_mm)))
        store.add_gauge_check(kept.id, check, by_name=chosen.by.strip(), at=local_time())
        last = find(store.calipers(), kept.id)
    for point in check.points:
        show(_point(point))
    if len(points) < FEW_OPENINGS:
        show(f"{len(points)} openings say little: check at {FEW_OPENINGS} or more.")
    if not check.has_drifted:
        show(f"Within what is allowed. Good until {_until(check)}.")
    if last.caliper.check != check:
        show("A later check is kept already: that one counts.")
    _warn(last.caliper)
    return 0


def _retire(chosen: argparse.Namespace) -> int:
    kept = _changed(chosen, in_use=False)
    show(f"Retired: {kept.caliper.description}. Visits that were made with it keep it.")
    return 0


def _return(chosen: argparse.Namespace) -> int:
    kept = _changed(chosen, in_use=True)
    show(f"In use again: {kept.caliper.description}.")
    _warn(kept.caliper)
    return 0


def _changed(chosen: argparse.Namespace, *, in_use: bool) -> KeptCaliper:
    by_name, reason = chosen.by.strip(), chosen.because.strip()
    if not by_name:
        raise MisuseError("The name is empty.", "Say with --by who you are.")
    if not reason:
        raise MisuseError("The reason is empty.", "Say with --because why.")
    with store_of(chosen) as store:
        kept = find(store.calipers(), chosen.caliper)
        change = CaliperChange(in_use, local_time(), by_name, reason)
        store.change_caliper(kept.id, change)
    return kept


def tenths_of(text: str, what: str) -> int:
    """Millimetres as they are written, in whole tenths. Raises MisuseError."""
    whole, point, tenth = text.strip().partition(".")
    if not (whole.isascii() and whole.isdigit() and len(whole) <= 3):
        raise MisuseError(f"'{text[:20]}' is no {what} in mm.", "Write it like 10 or 10.2.")
    if point and not (len(tenth) == 1 and tenth.isascii() and tenth.isdigit()):
        raise MisuseError(
            f"'{text[:20]}' is no {what} in mm.", "Write one digit after the point at most."
        )
    return int(whole) * 10 + int(tenth or 0)


def point_of(told: str, caliper: Caliper) -> GaugePoint:
    """One block and its reading, as "10=10.2". Raises MisuseError for what the scale lacks."""
    block, sign, read = told.partition("=")
    if not sign:
        raise MisuseError(f"'{told[:20]}' is no block and reading.", "Write it like 10=10.2.")
    nominal, value = tenths_of(block, "block"), tenths_of(read, "reading")
    if not nominal or not caliper.within_opening(nominal):
        raise MisuseError(
            f"The caliper does not open to {block} mm.", "Leave this gauge block out."
        )
    if not caliper.within_opening(value):
        raise MisuseError(f"The caliper does not show {read} mm.", "Look at its reading again.")
    if not caliper.on_scale(value) and not caliper.between_marks(value):
        step = millimetres(caliper.step_tenths_mm)
        raise MisuseError(
            f"{read} mm is not on its scale, whose step is {step} mm.", "Look at its reading again."
        )
    return GaugePoint(nominal, value)


def _day(told: str | None) -> str:
    today = date.fromisoformat(local_time()[:10])
    if told is None:
        return today.isoformat()
    try:
        day = date.fromisoformat(told)
    except ValueError as error:
        raise MisuseError(f"'{told[:20]}' is no date.", "Write it as 2026-03-02.") from error
    if day > today:
        raise MisuseError(f"{told} has not come yet.", "Give the day of the check.")
    return day.isoformat()


def _head(kept: KeptCaliper) -> str:
    caliper = kept.caliper
    step, opening = millimetres(caliper.step_tenths_mm), millimetres(caliper.opening_tenths_mm)
    return f"{caliper.description}: steps of {step} mm, opens to {opening} mm."


def _last(kept: KeptCaliper) -> str:
    check = kept.caliper.check
    return "Never checked." if check is None else f"Checked {check.on}, good until {_until(check)}."


def _change(change: CaliperChange) -> str:
    return f"{change.at[:10]} by {change.by_name}: {change.reason}"


def _until(check: GaugeCheck) -> str:
    return (date.fromisoformat(check.on) + timedelta(days=CHECK_EVERY_DAYS)).isoformat()


def _point(point: GaugePoint) -> str:
    drift = point.drift_tenths_mm
    sign = "+" if drift > 0 else "-" if drift < 0 else " "
    return (
        f"{millimetres(point.nominal_tenths_mm):>5} mm read "
        f"{millimetres(point.read_tenths_mm):>5} mm   {sign}{millimetres(abs(drift))}"
    )


def _warn(caliper: Caliper) -> None:
    for line in caliper_warnings(caliper, local_time()[:10]):
        show(f"  ! {line}")
