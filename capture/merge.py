"""The command `foldcall merge`: several stations on a testing day, one store afterwards."""

import argparse
from pathlib import Path

from capture.errors import MisuseError
from capture.terminal import show
from capture.transfer import store_of, store_option, told_in_words
from capture.unlock import open_unlocked

CONFLICTS = 1
"""The exit code when something could not be settled; what did not conflict is merged all the same.
"""


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `merge` to the commands of a parser."""
    parser = commands.add_parser("merge", help="take in the store of another station")
    parser.add_argument("other", metavar="OTHER", type=Path, help="the other store; only read")
    store_option(parser)
    parser.set_defaults(command=run)


def run(chosen: argparse.Namespace) -> int:
    """Merge; the exit code is 1 if there are conflicts, which are told one a line."""
    with open_unlocked(chosen.other, create=False) as other, store_of(chosen, create=True) as store:
        if other.path == store.path:
            raise MisuseError("A store cannot be merged with itself.", "Name two stores.")
        told = store.join(
            other.people_snapshot(),
            other.visit_snapshots(),
            named="the other store",
            refuse_conflicts=False,
        )
        calipers = store.take_calipers(other)
    if calipers:
        told.count("calipers, their checks and changes", calipers)
    show(told_in_words(told.added, told.same))
    for line in told.conflicts:
        show(f"CONFLICT  {line}")
    return CONFLICTS if told.conflicts else 0
