"""The command `foldcall compute`: the results of `capture.composition` from the command line.

It prints what it computes, as lines or as JSON. What it cannot take is a `MisuseError`, what a
file holds wrongly or an equation refuses a `CaptureError`; `capture.cli` makes exit codes of them.
"""

import argparse
from pathlib import Path

from capture.composition.check_table import markdown_lines
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
from capture.composition.options import (
    body_of,
    number,
    optional_number,
    readings,
    short,
)
from capture.composition.prediction import predict
from capture.composition.results import visit_result
from capture.composition.shown import Shown, refusal, shown
from capture.composition.statistics import settle
from capture.composition.usual import usual_equation
from capture.compute_store import Person, person_of, print_tem_of_store
from capture.compute_tables import one_visit, print_change, print_json, print_tem
from capture.errors import CaptureError, MisuseError
from capture.protocol_file import open_protocol
from capture.terminal import show
from capture.transfer import store_option

_ACTIONS = ("list", "conversions", "checks", "applicable", "tem", "change")


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `compute` to the commands of a parser."""
    parser = commands.add_parser("compute", help="density, fat percent, error and change")
    add = parser.add_argument
    add("--json", action="store_true", help="print JSON")
    add("--list", action="store_true", help="every equation with its source")
    add("--conversions", action="store_true", help="every conversion from density to percent")
    add("--checks", action="store_true", help="each published figure, ours, and the difference")
    add("--applicable", action="store_true", help="which equations fit --sex, --age and sites")
    add(
        "--tem",
        metavar="CSV",
        type=Path,
        nargs="?",
        const=True,
        help="technical error by site from visits in a table, or in the store",
    )
    add("--change", metavar="CSV", type=Path, help="change between a client's last two visits")
    add("--assessor", metavar="NAME", help="with --tem: whose error")
    add("--other", metavar="NAME", help="with --tem: the error between --assessor and this one")
    add(
        "--client",
        metavar="NAME",
        help="with --change: whose visits; else a client of the store, whose choices count",
    )
    store_option(parser)
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
    add("--protocol", metavar="NAME", help="with --applicable: the sites that it plans")
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
    if chosen.checks:
        show(*markdown_lines())
        return 0
    if chosen.applicable:
        return _applicable(chosen)
    if chosen.tem is True:
        return print_tem_of_store(chosen)
    if chosen.tem is not None:
        return print_tem(chosen)
    if chosen.change is not None:
        return print_change(chosen)
    return _compute(chosen)


# The options


def _equation(chosen: argparse.Namespace, person: Person) -> Equation:
    if chosen.equation is None and person.defaults.equation_id is not None:
        return equation(person.defaults.equation_id)
    if chosen.equation is None and person.of_store and person.sex is not None:
        taken, folds = _measured(chosen)
        if taken:
            return usual_equation(person.sex, person.age_years, taken, folds)
    if chosen.equation is None:
        raise MisuseError("--equation is missing.", "See 'foldcall compute --list' for its id.")
    try:
        return equation(chosen.equation)
    except CaptureError:
        raise MisuseError(
            f"There is no equation '{short(chosen.equation)}'.",
            "See 'foldcall compute --list' for those there are.",
        ) from None


def _conversion_id(chosen: argparse.Namespace, using: Equation, person: Person) -> str | None:
    if chosen.conversion is None:
        own = person.defaults.conversion_id
        # The client's conversion belongs to the client's equation.
        return own if chosen.equation is None and using.gives is Gives.DENSITY else None
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


def _measured(
    chosen: argparse.Namespace,
) -> tuple[dict[str, tuple[int, ...]], dict[str, FoldDirection]]:
    """The readings by site, and their fold directions, from options or a table."""
    if chosen.csv is not None:
        return one_visit(chosen.csv)
    return readings(chosen.reading), {}


# The actions


def _list(chosen: argparse.Namespace) -> int:
    if chosen.json:
        print_json([known.to_plain() for known in equations()])
        return 0
    for known in equations():
        sexes = ", ".join(known.sexes)
        show(f"{known.id}: {known.name}; {sexes}, {known.ages[0]} to {known.ages[1]} years")
        show(f"    {', '.join(known.sites)}; gives {known.gives.value}")
        show(f"    {known.source} Confirmed: {known.confirmed.value}.")
    return 0


def _conversions(chosen: argparse.Namespace) -> int:
    if chosen.json:
        print_json([known.to_plain() for known in conversions()])
        return 0
    for known in conversions():
        ages = "" if known.ages is None else f", {known.ages[0]} to {known.ages[1]} years"
        show(f"{known.id}: {known.a:g} / D - {known.b:g}; {known.population}{ages}")
        show(f"    {known.source} Confirmed: {known.confirmed.value}.")
    return 0


def _applicable(chosen: argparse.Namespace) -> int:
    if chosen.sex is None and chosen.client is None:
        raise MisuseError("--sex is missing.", "--applicable needs --sex, --age and readings.")
    person = person_of(chosen)
    sex = Sex(chosen.sex) if person.sex is None else person.sex
    if chosen.protocol is not None:
        sites = open_protocol(chosen.protocol).sites
        planned = {site.id: FoldDirection(site.fold.value) for site in sites}
        answers = applicable(sex, person.age_years, planned, fold_directions=planned)
    else:
        taken, folds = _measured(chosen)
        if not taken:
            raise MisuseError("No readings were given.", "Give --reading, --csv or --protocol.")
        values_mm = {site: settle(values).value_mm for site, values in taken.items()}
        answers = applicable(
            sex, person.age_years, values_mm, values_mm=values_mm, fold_directions=folds
        )
    if chosen.json:
        print_json(
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
        show(f"{answer.equation.id}: {why or 'applies'}")
    return 0


def _compute(chosen: argparse.Namespace) -> int:
    person = person_of(chosen)
    using, age, sex = _equation(chosen, person), person.age_years, person.sex
    model = _conversion_id(chosen, using, person)
    body = body_of(chosen.weight, chosen.height, chosen.target)
    tem_sum_mm = optional_number(chosen.tem_sum, "--tem-sum", 0, 100, "mm")
    if (chosen.sum is not None) + bool(chosen.reading) + (chosen.csv is not None) != 1:
        raise MisuseError(
            "One of --sum, --reading and --csv is needed.", "Give the folds in one of these ways."
        )
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
    show_fat = person.defaults.show_fat_percent and not chosen.no_fat
    show_norms = person.defaults.norms_shown and not chosen.no_norms
    found = shown(prediction, body, show_fat=show_fat, show_norms=show_norms)
    return _show(chosen, found, sites)


def _show(chosen: argparse.Namespace, found: Shown, sites: list[dict[str, object]]) -> int:
    prediction = found.prediction
    if chosen.json:
        print_json({"sites": sites, **found.to_plain()} if sites else found.to_plain())
    else:
        show(*found.lines())
    if prediction.density.refused:
        raise CaptureError(*refusal(prediction.density.refused))
    if prediction.why_not and found.show_fat:
        raise CaptureError(" ".join(prediction.why_not), "There is no percent to show.")
    return 0
