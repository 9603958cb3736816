"""What is told of an error that nobody expected: where it happened, and nothing of what was held.

A traceback as Python writes it repeats the values that were at hand, a client's name among them.
"""

from types import TracebackType

MOST_FRAMES = 12
"""The innermost places that are told of each error."""


def mishap_lines(error: BaseException) -> tuple[str, ...]:
    """An error and those that led to it: kinds, modules, lines and functions; no messages."""
    lines = [
        f"Something went wrong inside the program ({type(error).__name__}).",
        "What was confirmed is saved. Report the lines below: they hold no names and no values.",
    ]
    seen: set[int] = set()
    at: BaseException | None = error
    while at is not None and id(at) not in seen:
        seen.add(id(at))
        lines.append(f"  {type(at).__module__}.{type(at).__qualname__}")
        lines += [f"    {place}" for place in _places(at.__traceback__)[-MOST_FRAMES:]]
        at = at.__cause__ or (None if at.__suppress_context__ else at.__context__)
    return tuple(lines)


def _places(trace: TracebackType | None) -> list[str]:
    """Modules by their names: a path would hold the name of a user's folder."""
    found = []
    while trace is not None:
        code = trace.tb_frame.f_code
        module = trace.tb_frame.f_globals.get("__name__", "?")
        found.append(f"{module}:{trace.tb_lineno} {code.co_qualname}")
        trace = trace.tb_next
    return found
