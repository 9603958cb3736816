"""Push to talk: a terminal tells no key let go, so one press opens and the next closes. Pure."""

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Talk:
    """Whether speech is wanted, as far as the talk key goes.

    Without push to talk it always is. One press opens; a second press, one call taken or refused,
    or the time closes. `until_s` is None while it is closed.
    """

    pushed: bool
    limit_s: float
    until_s: float | None = None

    @property
    def open(self) -> bool:
        """Whether speech is wanted.

        >>> Talk(False, 8.0).open, Talk(True, 8.0).open, Talk(True, 8.0).press(1.0).open
        (True, False, True)
        >>> Talk(True, 8.0).press(1.0).press(2.0).open, Talk(True, 8.0).press(1.0).at(9.0).open
        (False, False)
        """
        return not self.pushed or self.until_s is not None

    def press(self, now_s: float) -> "Talk":
        """The key, or the pedal."""
        return replace(self, until_s=None if self.until_s is not None else now_s + self.limit_s)

    def called(self) -> "Talk":
        """After one call."""
        return replace(self, until_s=None)

    def at(self, now_s: float) -> "Talk":
        """As it is now."""
        over = self.until_s is not None and now_s >= self.until_s
        return self.called() if over else self

    def left_s(self, now_s: float) -> float:
        """Seconds until it closes by itself, 0 while it is closed."""
        return 0.0 if self.until_s is None else max(0.0, self.until_s - now_s)
