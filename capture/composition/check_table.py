"""The checks as tables for readers: each figure, ours, and the difference."""

from capture.composition.checks import CHECKS, Check, CheckRow, Quantity, check_table
from capture.composition.conversion import conversion
from capture.composition.equations import equations


def markdown_lines() -> tuple[str, ...]:
    """The table of checks for the documentation, as lines of Markdown, one row a check.

    Equations without a figure from outside are named below it, so that nobody takes a formula
    that was worked out for a value that was printed.
    """
    lines = [
        "| equation or conversion | given | source | confirmed | expected | ours | difference "
        "| tolerance |",
        "| --- | --- | --- | --- | ---: | ---: | ---: | ---: |",
        *(_markdown_row(row) for row in check_table()),
    ]
    return (*lines, "", _without_outside())


def summary_markdown_lines() -> tuple[str, ...]:
    """The same in short: one row for each equation and source, with the worst difference."""
    groups: dict[tuple[str, str], list[CheckRow]] = {}
    for row in check_table():
        groups.setdefault((_subject(row.check), row.check.source), []).append(row)
    lines = [
        "| equation or conversion | source of the figures | figures | worst at | expected | ours "
        "| difference | tolerance |",
        "| --- | --- | ---: | --- | ---: | ---: | ---: | ---: |",
    ]
    for (subject, source), rows in groups.items():
        worst = max(rows, key=lambda row: abs(row.difference) / row.check.tolerance)
        lines.append(
            f"| {subject} | {source} | {len(rows)} | {worst.check.given} | {_expected(worst)} | "
            f"{_figure(worst, worst.ours)} | {_figure(worst, worst.difference, sign=True)} | "
            f"{worst.check.tolerance:.2g} |"
        )
    return (*lines, "", _without_outside())


def _without_outside() -> str:
    """The equations for which no figure printed elsewhere was found."""
    outside = {check.equation_id for check in CHECKS if not check.recomputed}
    only_formula = [f"`{known.id}`" for known in equations() if known.id not in outside]
    return (
        "No figure printed elsewhere was found for the following; they are held only against what "
        f"the formula gives when worked out apart from the program: {', '.join(only_formula)}."
    )


def _subject(check: Check) -> str:
    model = "" if check.conversion_id is None else f" {conversion(check.conversion_id).name}"
    return f"`{check.equation_id}`{model}" if check.equation_id else model.strip()


def _markdown_row(row: CheckRow) -> str:
    check = row.check
    cells = (
        _subject(check),
        check.given,
        check.source,
        check.confirmed.value,
        _expected(row),
        _figure(row, row.ours),
        _figure(row, row.difference, sign=True),
        f"{check.tolerance:.2g}",
    )
    return f"| {' | '.join(cells)} |"


def _expected(row: CheckRow) -> str:
    check = row.check
    shown = f"{check.expected:g}" if check.quantity is Quantity.FAT else f"{check.expected:.7f}"
    return f"{shown} {check.quantity.value}"


def _figure(row: CheckRow, value: float, *, sign: bool = False) -> str:
    places = 3 if row.check.quantity is Quantity.FAT else 7
    # Adding zero makes of minus nothing just nothing.
    shown = round(value, places) + 0.0
    return f"{shown:+.{places}f}" if sign else f"{shown:.{places}f}"
