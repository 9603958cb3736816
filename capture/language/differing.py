"""How the meanings of two phrases differ while neither is complete.

What was said before both parted is not known. A number that it left in a slot is x, and what tags
make of it since is a times x plus b: so equal tags keep equal meanings equal, whatever x is.
"""

from capture.language.tree import Operation
from capture.language.web import Tags

Slot = tuple[int | None, int | str]
"""What tags make of a slot: (a, b) of a number a times x plus b; (None, name) of a name."""

Differing = tuple[tuple[str, Slot, Slot], ...]
"""The slots in which two phrases differ, by name, with what the tags of each make of them."""

_SAME: Slot = (1, 0)


def differing_after(before: Differing, one: Tags, other: Tags) -> Differing:
    """The slots in which two phrases differ, after some tags more of each."""
    if one == other and not before:
        return ()
    ones = {slot: here for slot, here, _ in before}
    others = {slot: there for slot, _, there in before}
    _apply(one, ones)
    _apply(other, others)
    pairs = (
        (slot, ones.get(slot, _SAME), others.get(slot, _SAME)) for slot in ones.keys() | others
    )
    return tuple(sorted((each for each in pairs if each[1] != each[2]), key=lambda each: each[0]))


def _apply(tags: Tags, slots: dict[str, Slot]) -> None:
    for tag in tags:
        if isinstance(tag.value, str):
            slots[tag.slot] = (None, tag.value)
            continue
        factor, term = slots.get(tag.slot, _SAME)
        if tag.operation is Operation.SET:
            factor, term = 0, 0
        if factor is None or isinstance(term, str):
            # A number in the place of a name begins at 0.
            factor, term = 0, 0
        times = 10 if tag.operation is Operation.APPEND else 1
        slots[tag.slot] = (factor * times, term * times + tag.value)
