"""A protocol from the text of its TOML file, and to and from a plan in the store.

What a file must hold is shown by the files in `data/`. Everything is checked here, and what is
wrong is told with the file and the key.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from decimal import Decimal
from typing import Any

from capture.errors import CaptureError
from capture.protocol.pictures import PICTURES
from capture.protocol.protocol import Protocol, Tolerance, Whichever
from capture.protocol.sites import HALF, Fold, Side, Site

FORMAT = 1
MOST_CIRCUITS = 4
_ID = re.compile(r"[a-z][a-z0-9_]*")
_SHARE = re.compile(r"([1-9])/([1-9])")
_FOLD_RANGE_MM = (Decimal("0.5"), Decimal("99.9"))
_TAPE_RANGE_CM = (Decimal(1), Decimal(200))


class ProtocolError(CaptureError):
    """A protocol file that cannot be used; the message names the file and the key."""


class _Table:
    """One table of a file; every value is taken once, and what is left over is an error."""

    def __init__(self, told: Mapping[str, Any], file: str, path: str) -> None:
        self._left = dict(told)
        self._file = file
        self._path = path

    def fail(self, key: str, why: str, hint: str) -> ProtocolError:
        return ProtocolError(f"{self._file}: {self._path}{key} {why}.", hint)

    def take(self, key: str, hint: str) -> Any:
        if key not in self._left:
            raise self.fail(key, "is missing", hint)
        return self._left.pop(key)

    def text(self, key: str, hint: str) -> str:
        value = self.take(key, hint)
        if not isinstance(value, str) or not value.strip():
            raise self.fail(key, f"is {value!r}, not a text", hint)
        return value

    def optional_text(self, key: str, hint: str) -> str | None:
        return self.text(key, hint) if key in self._left else None

    def name(self, key: str) -> str:
        hint = "Use small letters, digits and underscores, such as iliac_crest."
        value = self.text(key, hint)
        if not _ID.fullmatch(value):
            raise self.fail(key, f"is {value!r}, which is no name", hint)
        return value

    def choice(self, key: str, choices: Sequence[str]) -> str:
        hint = f"Write one of: {', '.join(choices)}."
        value = self.text(key, hint)
        if value not in choices:
            raise self.fail(key, f"is {value!r}", hint)
        return value

    def whole(self, key: str, lowest: int, highest: int) -> int:
        hint = f"Write a whole number from {lowest} to {highest}."
        value = self.take(key, hint)
        if type(value) is not int or not lowest <= value <= highest:
            raise self.fail(key, f"is {value}", hint)
        return value

    def tenths(self, key: str, value: object, bounds: tuple[Decimal, Decimal]) -> int:
        """A number with one digit after its point, as whole tenths."""
        hint = f"Write a number from {bounds[0]} to {bounds[1]}, one digit after the point at most."
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            raise self.fail(key, f"holds {value!r}, which is no number", hint)
        number = Decimal(value)
        if not number.is_finite() or not bounds[0] <= number <= bounds[1] or number * 10 % 1:
            raise self.fail(key, f"holds {value}", hint)
        return int(number * 10)

    def range_tenths(self, key: str, bounds: tuple[Decimal, Decimal]) -> tuple[int, int]:
        hint = "Write the lowest and the highest, such as [3, 50]."
        value = self.take(key, hint)
        if not isinstance(value, list) or len(value) != 2:
            raise self.fail(key, "is no pair", hint)
        lowest, highest = (self.tenths(key, each, bounds) for each in value)
        if lowest >= highest:
            raise self.fail(key, "does not go from low to high", hint)
        return lowest, highest

    def texts(self, key: str, hint: str) -> tuple[str, ...]:
        value = self.take(key, hint)
        if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
            raise self.fail(key, "is no list of texts", hint)
        return tuple(value)

    def share(self, key: str) -> tuple[int, int]:
        """A part of a length, such as 1/3."""
        hint = 'Write a part of the tape\'s length, such as "1/2" or "1/3".'
        found = _SHARE.fullmatch(self.text(key, hint))
        above, below = (int(found[1]), int(found[2])) if found else (0, 0)
        if not 0 < above < below:
            raise self.fail(key, "is no part of a length", hint)
        return above, below

    def table(self, key: str) -> "_Table":
        hint = f"Write [{key}] and its keys below."
        value = self.take(key, hint)
        if not isinstance(value, dict):
            raise self.fail(key, "is no table", hint)
        return _Table(value, self._file, f"{self._path}{key}.")

    def tables(self, key: str) -> list["_Table"]:
        hint = f"Write [[{key}]] and its keys below, once for each."
        value = self.take(key, hint)
        if not isinstance(value, list) or not value or not all(isinstance(t, dict) for t in value):
            raise self.fail(key, "is no list of tables", hint)
        return [
            _Table(each, self._file, f"{self._path}{key} {number}: ")
            for number, each in enumerate(value, 1)
        ]

    def holds(self, key: str) -> bool:
        return key in self._left

    def done(self) -> None:
        """Raise for a key that means nothing: it is a slip of the pen."""
        for key in self._left:
            raise self.fail(key, "means nothing here", "Correct its name, or remove it.")


def read_protocol(text: str, file: str) -> Protocol:
    """The protocol of one TOML file; `file` is its name for messages. Raises ProtocolError."""
    try:
        told = tomllib.loads(text, parse_float=Decimal)
    except (ValueError, RecursionError) as error:  # also numbers and nestings without end
        raise ProtocolError(f"{file}: {error}.", "Mend the file where it says.") from error
    top = _Table(told, file, "")
    top.whole("format", FORMAT, FORMAT)
    protocol_id = top.name("id")
    title = top.text("title", "Name the protocol as it is shown.")
    source = top.text("source", "Say where the definitions come from.")
    circuits = top.whole("circuits", 1, MOST_CIRCUITS)
    tolerance = _tolerance(top.table("tolerance"))
    rounding = top.table("rounding")
    tape_up = rounding.choice("tape", ("down", "up")) == "up"
    rounding.done()
    sites: list[Site] = []
    spoken: dict[str, str] = {}
    for table in top.tables("site"):
        site = _site(table)
        if any(site.id == known.id for known in sites):
            raise table.fail("id", f"is {site.id!r} a second time", "Give each site its own id.")
        for name in site.spoken:
            if name in spoken:
                raise table.fail(
                    "spoken",
                    f"has {name!r}, which calls {spoken[name]} already",
                    "A name must call one site only.",
                )
            spoken[name] = site.id
        sites.append(site)
    top.done()
    return Protocol(protocol_id, title, tuple(sites), circuits, tolerance, tape_up, source)


def _tolerance(table: _Table) -> Tolerance:
    mm = table.tenths("mm", table.take("mm", "Write 2, for example."), (Decimal(0), Decimal(20)))
    percent = table.whole("percent", 0, 50)
    whichever = Whichever(table.choice("whichever", [each.value for each in Whichever]))
    table.done()
    return Tolerance(mm, percent, whichever)


def _site(table: _Table) -> Site:
    site_id = table.name("id")
    tape_from = table.optional_text("tape_from", "Name the end that the tape is read from.")
    tape_to, tape_usual_mm, share, women = None, None, HALF, None
    if tape_from is not None:
        tape_to = table.text("tape_to", "Name the other end of the tape.")
        tape_usual_mm = table.range_tenths("tape_usual_cm", _TAPE_RANGE_CM)
        share = table.share("tape_mark") if table.holds("tape_mark") else HALF
        women = table.share("tape_mark_women") if table.holds("tape_mark_women") else None
    site = Site(
        id=site_id,
        title=table.text("title", "Name the site as it is shown and said."),
        fold=Fold(table.choice("fold", [each.value for each in Fold])),
        landmark=table.text("landmark", "Say how the site is found."),
        usual_tenths_mm=table.range_tenths("usual_mm", _FOLD_RANGE_MM),
        tape_from=tape_from,
        tape_to=tape_to,
        tape_usual_mm=tape_usual_mm,
        side=Side(table.choice("side", [each.value for each in Side])),
        spoken=table.texts("spoken", "List the names that call the site."),
        picture=table.choice("picture", sorted(PICTURES)) if table.holds("picture") else "",
        tape_share=share,
        tape_share_women=women,
    )
    table.done()
    return site


def protocol_to_plain(protocol: Protocol) -> dict[str, Any]:
    """The whole protocol as a JSON object, so that a plan stays what it was."""
    plain: dict[str, Any] = asdict(protocol)
    plain["sites"] = [
        {key: list(value) if isinstance(value, tuple) else value for key, value in site.items()}
        for site in plain["sites"]
    ]
    plain["tolerance"]["whichever"] = protocol.tolerance.whichever.value
    for site, told in zip(protocol.sites, plain["sites"], strict=True):
        told["fold"], told["side"] = site.fold.value, site.side.value
    return plain


def protocol_from_plain(plain: Mapping[str, Any]) -> Protocol:
    """The protocol that `protocol_to_plain` wrote. Raises KeyError, TypeError or ValueError."""
    tolerance = dict(plain["tolerance"])
    tolerance["whichever"] = Whichever(tolerance["whichever"])
    sites = tuple(_site_from_plain(each) for each in plain["sites"])
    return Protocol(**{**plain, "tolerance": Tolerance(**tolerance), "sites": sites})


def _site_from_plain(plain: Mapping[str, Any]) -> Site:
    values: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in plain.items()
    }
    return Site(**{**values, "fold": Fold(plain["fold"]), "side": Side(plain["side"])})
