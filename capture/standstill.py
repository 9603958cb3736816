"""Whether the machine slept or stood still between two looks at the clock. Pure."""

STOOD_STILL_S = 30.0
"""Nothing was looked at for so long: the machine slept, or had no time for this. Own choice, no
source; the usual wait between two looks is a tenth of a second."""


class Standstill:
    """Looks at the clock of the wall: the clock that only rises may stand still as well."""

    def __init__(self) -> None:
        self._seen_at_s: float | None = None

    def look(self, wall_s: float) -> bool:
        """Whether too long has passed since the last look; never at the first."""
        before_s, self._seen_at_s = self._seen_at_s, wall_s
        return before_s is not None and abs(wall_s - before_s) >= STOOD_STILL_S
