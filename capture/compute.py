"""The command `foldcall compute`: the results of `capture.composition` from the command line.

It prints what it computes, as lines or as JSON. What it cannot take is a `MisuseError`, what a
file holds wrongly or an equation refuses a `CaptureError`; `capture.cli` makes exit codes of them.
"""

import argparse
import json
from pathlib import Path

from capture.composition.assessor import between_assessors, within_assessor
from capture.composition.change import last_change
from capture.composition.conversion import conversion, conversions
from capture.composition.equations import (
    Equation,
    FoldDirection,
    Gives,
    Sex,
    applicable,
    equation,
    equations,
)
from capture.composition.measured import MeasuredVisit
from capture.composition.options import (
    KNOWN_SITES,
    body_of,
    completed_years,
    number,
    optional_number,
    readings,
    short,
)
from capture.composition.prediction import Prediction, predict
from capture.composition.results import visit_result
from capture.composition.shown import Body, refusal, shown
from capture.composition.statistics import settle
from capture.composition.table import visits_from_csv
from capture.errors import CaptureError, MisuseError

MOST_BYTES = 10_000_000
_ACTIONS = ("list", "conversions", "applicable", "tem", "change")


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `compute` to the commands of a parser."""
    parser = commands.add_parser("compute", help="density, fat percent, error and change")
    add = parser.add_argument
    add("--json", action="store_true", help="print JSON")
    add("--list", action="store_true", help="every equation with its source")
    add("--conversions", action="store_true", help="every conversion from density to percent")
    add("--applicable", action="store_true", help="which equations fit --sex, --age and sites")
    add("--tem", metavar="CSV", type=Path, help="technical error by site from visits in a table")
    add("--change", metavar="CSV", type=Path, help="change between a client's last two visits")
    add("--assessor", metavar="NAME", help="with --tem: whose error")
    add("--other", metavar="NAME", help="with --tem: the error between --assessor and this one")
    add("--client", metavar="NAME", help="with --change: whose visits")
    add("--equation", metavar="ID", help="see --list")
    add("--age", metavar="YEARS", help="completed years")
    add("--sex", choices=[sex.value for sex in Sex], help="compared with the equation's")
    add("--sum", metavar="MM", help="the sum of the equation's folds")
    add(
        "--reading",
        metavar="SITE=MM[,MM...]",
        action="append",
        default=[],
        help="readings of one site; give it once for each site",
    )
    add("--csv", metavar="CSV", type=Path, help="readings of one visit in a table")
    add("--conversion", metavar="ID", help="see --conversions (default: siri)")
    add("--override", action="store_true", help="compute outside the equation's sample, marked")
    add("--tem-sum", metavar="MM", help="the assessor's technical error of the sum")
    add("--weight", metavar="KG", help="body weight")
    add("--height", metavar="CM", help="body height")
    add("--target", metavar="PERCENT", help="what a weight is asked for; needs --weight")
    add("--no-norms", action="store_true", help="leave the position among others out")
    add("--no-fat", action="store_true", help="show the folds only, no percent and no masses")
    parser.set_defaults(command=run)


def run(chosen: argparse.Namespace) -> int:
    """Run the command; the exit code."""
    actions = [name for name in _ACTIONS if getattr(chosen, name)]
    if len(actions) > 1:
        raise MisuseError(
            f"--{actions[0]} and --{actions[1]} do not go together.", "Give one of them."
        )
    if chosen.list:
        return _list(chosen)
    if chosen.conversions:
        return _conversions(chosen)
    if chosen.applicable:
        return _applicable(chosen)
    if chosen.tem is not None:
        return _tem(chosen)
    if chosen.change is not None:
        return _change(chosen)
    return _compute(chosen)


# The options


def _equation(chosen: argparse.Namespace) -> Equation:
    if chosen.equation is None:
        raise MisuseError("--equation is missing.", "See 'foldcall compute --list' for its id.")
    try:
        return equation(chosen.equation)
    except CaptureError:
        raise MisuseError(
            f"There is no equation '{short(chosen.equation)}'.",
            "See 'foldcall compute --list' for those there are.",
        ) from None


def _conversion_id(chosen: argparse.Namespace, using: Equation) -> str | None:
    if chosen.conversion is None:
        return None
    try:
        conversion(chosen.conversion)
    except CaptureError:
        raise MisuseError(
            f"There is no conversion '{short(chosen.conversion)}'.",
            "See 'foldcall compute --conversions' for those there are.",
        ) from None
    if using.gives is Gives.FAT_PERCENT:
        raise MisuseError(
            f"{using.id} gives fat percent itself; no conversion is applied to it.",
            "Leave --conversion out.",
        )
    return str(chosen.conversion)


# The files


def _visits(path: Path) -> tuple[MeasuredVisit, ...]:
    try:
        with path.open("rb") as file:
            found = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name is none"
        raise CaptureError(f"The table cannot be opened: {reason}.", "Check its name.") from None
    if len(found) > MOST_BYTES:
        raise CaptureError(
            f"The table is larger than {MOST_BYTES // 1_000_000} MB.", "Split it into several."
        )
    try:
        text = found.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise CaptureError("The table is no UTF-8 text.", "Save it as CSV, UTF-8.") from None
    return visits_from_csv(text, KNOWN_SITES)


def _one_visit(path: Path) -> tuple[dict[str, tuple[int, ...]], dict[str, FoldDirection]]:
    visits = _visits(path)
    if len(visits) > 1:
        raise CaptureError(
            f"The table holds {len(visits)} visits.", "Give a table with one visit to compute."
        )
    measured = visits[0].measurements
    return (
        {each.site: each.readings_tenths_mm for each in measured},
        {each.site: each.conditions.fold_direction for each in measured},
    )


def _measured(
    chosen: argparse.Namespace,
) -> tuple[dict[str, tuple[int, ...]], dict[str, FoldDirection]]:
    """The readings by site, and their fold directions, from options or a table."""
    if chosen.csv is not None:
        return _one_visit(chosen.csv)
    return readings(chosen.reading), {}


# The actions


def _print_json(value: object) -> None:
    print(json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False))


def _list(chosen: argparse.Namespace) -> int:
    if chosen.json:
        _print_json([known.to_plain() for known in equations()])
        return 0
    for known in equations():
        sexes = ", ".join(known.sexes)
        print(f"{known.id}: {known.name}; {sexes}, {known.ages[0]} to {known.ages[1]} years")
        print(f"    {', '.join(known.sites)}; gives {known.gives.value}")
        print(f"    {known.source} Confirmed: {known.confirmed.value}.")
    return 0


def _conversions(chosen: argparse.Namespace) -> int:
    if chosen.json:
        _print_json([known.to_plain() for known in conversions()])
        return 0
    for known in conversions():
        ages = "" if known.ages is None else f", {known.ages[0]} to {known.ages[1]} years"
        print(f"{known.id}: {known.a:g} / D - {known.b:g}; {known.population}{ages}")
        print(f"    {known.source} Confirmed: {known.confirmed.value}.")
    return 0


def _applicable(chosen: argparse.Namespace) -> int:
    if chosen.sex is None:
        raise MisuseError("--sex is missing.", "--applicable needs --sex, --age and readings.")
    age = completed_years(chosen.age)
    taken, folds = _measured(chosen)
    if not taken:
        raise MisuseError("No readings were given.", "Give --reading or --csv.")
    values_mm = {site: settle(values).value_mm for site, values in taken.items()}
    answers = applicable(
        Sex(chosen.sex), age, values_mm, values_mm=values_mm, fold_directions=folds
    )
    if chosen.json:
        _print_json(
            [
                {
                    "id": answer.equation.id,
                    "applies": answer.applies,
                    "with_override": answer.possible,
                    "reasons": [reason.to_plain() for reason in answer.reasons],
                }
                for answer in answers
            ]
        )
        return 0
    for answer in answers:
        why = " ".join(reason.text for reason in answer.reasons)
        print(f"{answer.equation.id}: {why or 'applies'}")
    return 0


def _compute(chosen: argparse.Namespace) -> int:
    using, age = _equation(chosen), completed_years(chosen.age)
    model = _conversion_id(chosen, using)
    body = body_of(chosen.weight, chosen.height, chosen.target)
    tem_sum_mm = optional_number(chosen.tem_sum, "--tem-sum", 0, 100, "mm")
    if (chosen.sum is not None) + bool(chosen.reading) + (chosen.csv is not None) != 1:
        raise MisuseError(
            "One of --sum, --reading and --csv is needed.", "Give the folds in one of these ways."
        )
    sex = None if chosen.sex is None else Sex(chosen.sex)
    sites: list[dict[str, object]] = []
    if chosen.sum is not None:
        prediction = predict(
            using,
            number(chosen.sum, "--sum", 1, 1000, "mm"),
            age,
            conversion_id=model,
            sex=sex,
            override=chosen.override,
            tem_sum_mm=tem_sum_mm,
        )
    else:
        taken, folds = _measured(chosen)
        result = visit_result(
            taken,
            sex or using.sexes[0],
            age,
            using.id,
            model,
            override=chosen.override,
            fold_directions=folds,
            tem_sum_mm=tem_sum_mm,
        )
        sites = [site.to_plain() for site in result.sites]
        if result.prediction is None:
            raise CaptureError(*refusal(result.missing))
        prediction = result.prediction
    return _show(chosen, prediction, body, sites)


def _show(
    chosen: argparse.Namespace,
    prediction: Prediction,
    body: Body,
    sites: list[dict[str, object]],
) -> int:
    found = shown(prediction, body, show_fat=not chosen.no_fat, show_norms=not chosen.no_norms)
    if chosen.json:
        _print_json({"sites": sites, **found.to_plain()} if sites else found.to_plain())
    else:
        print("\n".join(found.lines()))
    if prediction.density.refused:
        raise CaptureError(*refusal(prediction.density.refused))
    if prediction.why_not and not chosen.no_fat:
        raise CaptureError(" ".join(prediction.why_not), "There is no percent to show.")
    return 0


def _tem(chosen: argparse.Namespace) -> int:
    visits = _visits(chosen.tem)
    known = sorted({visit.assessor for visit in visits})
    assessor = chosen.assessor
    if assessor is None and len(known) == 1:
        assessor = known[0]
    if assessor not in known or (chosen.other is not None and chosen.other not in known):
        raise MisuseError(
            f"The table has {len(known)} assessors, and not the one asked for.",
            "Name them with --assessor and --other as the table does.",
        )
    if chosen.other is None:
        errors = within_assessor(visits, assessor)
    elif chosen.other == assessor:
        raise MisuseError("--assessor and --other are the same.", "Name two assessors.")
    else:
        errors = between_assessors(visits, assessor, chosen.other)
    if chosen.json:
        _print_json([error.to_plain() for error in errors])
    else:
        print("\n".join(error.text for error in errors))
    return 0


def _change(chosen: argparse.Namespace) -> int:
    visits = _visits(chosen.change)
    clients = {visit.client for visit in visits}
    if chosen.client is None and len(clients) > 1:
        raise MisuseError("The table has several clients.", "Name one with --client.")
    wanted = next(iter(clients)) if chosen.client is None else chosen.client
    if any(not visit.date for visit in visits):
        raise CaptureError("A visit has no date.", "The table needs the column date for a change.")
    found = last_change(visits, wanted)
    if found is None:
        raise CaptureError("There are no two visits to compare.", "A change needs two visits.")
    before, now, change = found
    if chosen.json:
        _print_json({"before": before.date, "now": now.date, **change.to_plain()})
        return 0
    print(f"From {before.date} to {now.date}")
    for each in (change.sum, *change.sites):
        print(each.text)
    return 0
