"""Whose turn it is: what was spoken or struck before the present question is no answer to it. Pure.

A spoken call and a key that arrive together must never both apply.
"""

from dataclasses import dataclass

TOGETHER_S = 0.3
"""Nobody reads a new question and strikes a key for it so soon: such a key met a spoken call."""

BOUNCE_S = 0.15
"""A key so soon after a step is the same stroke: it is no yes to what has just been shown."""

LONG_AGO_S = -60.0


@dataclass(slots=True)
class Turns:
    """Counts questions and spoken calls, and remembers when they were.

    `epoch` is the number of the present order to the ear; `spoken` counts the calls that were
    taken by voice. Times are seconds of the session's clock, `asked_at_s` of the ear's.
    """

    bounce_s: float = BOUNCE_S
    epoch: int = 0
    spoken: int = 0
    no_key_before_s: float = LONG_AGO_S
    stepped_at_s: float = LONG_AGO_S
    asked_at_s: float = 0.0

    def meets_call(self, seen: int, now_s: float) -> bool:
        """Whether a key met a spoken call: its striker cannot have seen what came of it.

        A number may be half typed: for a while no key begins another one.
        """
        if seen == self.spoken and now_s >= self.no_key_before_s:
            return False
        self.no_key_before_s = max(self.no_key_before_s, now_s + TOGETHER_S)
        return True

    def bounces(self, now_s: float) -> bool:
        """Whether a single key is the stroke before it once more."""
        return now_s - self.stepped_at_s < self.bounce_s

    def took_spoken(self, now_s: float) -> None:
        """A spoken call was taken."""
        self.spoken += 1
        self.no_key_before_s = now_s + TOGETHER_S

    def stepped(self, now_s: float, asked_at_s: float) -> None:
        """A step was made, and a question stands since then."""
        self.stepped_at_s, self.asked_at_s = now_s, asked_at_s
