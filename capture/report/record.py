"""A visit as its journal tells it, for reading rather than for going on with.

It is put together from the facts of the journal, without the machine: it can be read whatever
version wrote it, and where only the readings came in from a table.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from capture.report.amendments import Amendment, ends, value_that_counts

HEARD = "heard"
CONFIRMED = "confirmed"
LEFT = ("replaced", "dropped", "undone")

SOUND_CONSENT = "keep_sound"
"""True in the plan of a visit whose client agreed that the sound of calls is kept."""

_UNDONE = {
    "caution": ("noted", "caution"),
    "choice": ("chosen", "option"),
    "later": ("put_off", "site"),
    "finish": ("finished_early", ""),
    "extra": ("extra_asked", "site"),
    "preparation": ("settled", "what"),
    "setup": ("setup_changed", "site"),
    "remark": ("remark", ""),
}
"""For what is undone the kind of fact that it takes away, and the fact's part that names it."""


@dataclass(frozen=True, slots=True)
class ReadingRecord:
    """One reading with all that is known of it; `doubts` are kinds with the other value.

    Taken through cloth, `net_tenths_mm` is the value less the cloth; then that is what counts.
    """

    number: int
    site: str
    circuit: int
    value_tenths_mm: int
    state: str
    source: str
    words: str
    confidence: float | None
    alternatives: tuple[Mapping[str, Any], ...]
    doubts: tuple[tuple[str, int | None], ...]
    heard_at: str
    changed_at: str
    changed_entry: int
    cloth_tenths_mm: int | None = None
    net_tenths_mm: int | None = None
    dwell_s: float | None = None
    """Time in seconds from the cue that the jaws are on to the call, None without a cue."""
    amendments: tuple[Amendment, ...] = ()

    @property
    def counts_tenths_mm(self) -> int | None:
        """The value that counts, amendments included; None if none does."""
        taken = self.value_tenths_mm if self.net_tenths_mm is None else self.net_tenths_mm
        return value_that_counts(taken, self.state == CONFIRMED, self.amendments)

    @property
    def is_forked(self) -> bool:
        """Whether it was amended in two ways."""
        return len(ends(self.amendments)) > 1

    @property
    def runner_up(self) -> tuple[str, float] | None:
        """The recogniser's next phrase with its probability."""
        best = max(self.alternatives, key=lambda each: each.get("confidence") or 0.0, default=None)
        return None if best is None else (str(best.get("words", "")), float(best["confidence"]))


@dataclass(frozen=True, slots=True)
class VisitRecord:
    """One visit: who, how, every reading ever heard, and what else was settled.

    `permissions` maps each permission asked to its answer; `skips` maps (site, circuit) to the
    reason, circuit 0 being the tape; `tapes` are the facts of the confirmed marks.
    """

    id: str
    client_id: str
    assessor_id: str
    started_at: str
    plan: Mapping[str, Any]
    program_version: str
    readings: tuple[ReadingRecord, ...]
    permissions: Mapping[str, bool]
    skips: Mapping[tuple[str, int], str]
    tapes: Mapping[str, Mapping[str, Any]]
    signed_at: str | None
    signed_entry: int | None
    amendments: tuple[Amendment, ...]
    last_at: str
    other_facts: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    """What else stands, with its time: cautions, choices, changed setups, sites put off."""
    instead: Mapping[str, str] = field(default_factory=dict)
    """What was settled on in the place of a permission."""
    blanks: bool = False
    """Whether the journal has entries of which only their number is known."""

    @property
    def sign_off(self) -> Amendment | None:
        """The sign-off by name, the first one where two stations signed."""
        return next((each for each in self.amendments if each["kind"] == "signed_off"), None)

    @property
    def agreed_to_sound(self) -> bool:
        """Whether the client agreed that the sound of calls is kept."""
        return self.plan.get(SOUND_CONSENT) is True

    @property
    def from_table(self) -> bool:
        """Whether only the readings came in, so that nothing else is known of the visit."""
        return not self.permissions and not self.skips and not self.other_facts and self.blanks

    @property
    def through_cloth(self) -> tuple[str, ...]:
        """The sites with a reading that counts and was taken through cloth."""
        found = (each.site for each in self.readings if each.net_tenths_mm is not None)
        return tuple(dict.fromkeys(found))

    @property
    def cautions(self) -> tuple[str, ...]:
        """The reasons for care that were noted, each once."""
        return tuple(dict.fromkeys(str(fact.get("caution")) for fact in self.facts_of("noted")))

    def facts_of(self, kind: str) -> tuple[Mapping[str, Any], ...]:
        """The facts of one kind that stand, such as `noted` or `put_off`."""
        return tuple(fact for _, fact in self.other_facts if fact.get("kind") == kind)

    @property
    def is_signed(self) -> bool:
        """Whether the visit is closed, by the assessor's word or by name."""
        return self.signed_at is not None or self.sign_off is not None

    def trials(self, site: str) -> tuple[int, ...]:
        """The values of a site that count, in tenths of a mm, by circuit."""
        ours = [
            (each.circuit, each.number, each.counts_tenths_mm)
            for each in self.readings
            if each.site == site and each.counts_tenths_mm is not None
        ]
        return tuple(value for _, _, value in sorted(ours) if value is not None)

    def before(self, reading: ReadingRecord) -> tuple[ReadingRecord, ...]:
        """What was heard for the same site and circuit before, and did not stay."""
        return tuple(
            each
            for each in self.readings
            if (each.site, each.circuit) == (reading.site, reading.circuit)
            and each.number < reading.number
            and each.state in LEFT
        )


@dataclass(slots=True)
class _Reader:
    """Goes through a journal and keeps what stands."""

    readings: dict[int, dict[str, Any]] = field(default_factory=dict)
    permissions: dict[str, bool] = field(default_factory=dict)
    skips: dict[tuple[str, int], str] = field(default_factory=dict)
    tapes: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    others: list[tuple[str, Mapping[str, Any]]] = field(default_factory=list)
    instead: dict[str, str] = field(default_factory=dict)
    signed: tuple[str, int] | None = None

    def take(self, entry: Mapping[str, Any]) -> None:
        for fact in entry["readings"]:
            self._reading(entry, fact)
        for fact in entry["facts"]:
            self._fact(entry, fact)

    def _reading(self, entry: Mapping[str, Any], fact: Mapping[str, Any]) -> None:
        number = fact["number"]
        if number not in self.readings:
            self.readings[number] = {
                "number": number,
                "site": fact["site"],
                "circuit": fact["circuit"],
                "value_tenths_mm": fact["value_tenths_mm"],
                "source": entry["source"],
                "words": entry["words"],
                "confidence": entry["confidence"],
                "alternatives": tuple(entry["alternatives"]),
                "doubts": tuple(
                    (each["doubt"], each.get("other_tenths_mm"))
                    for each in entry["facts"]
                    if each.get("kind") == "doubt"
                ),
                "heard_at": entry["at"],
                **_cloth(entry["facts"]),
                "dwell_s": _dwell_s(entry["facts"]),
            }
        self.readings[number] |= {
            "state": fact["state"],
            "changed_at": entry["at"],
            "changed_entry": entry["sequence"],
        }

    def _fact(self, entry: Mapping[str, Any], fact: Mapping[str, Any]) -> None:
        match fact:
            case {"kind": "permission", "permission": str(name), "granted": bool(granted)}:
                self.permissions[name] = granted
                self.instead.pop(name, None)
            case {"kind": "withdrawn", "permission": str(name)}:
                self.permissions[name] = False
            case {"kind": "chosen", "permission": str(name), "option": option}:
                self.permissions.pop(name, None)
                self.instead[name] = str(option)
                self.others.append((entry["at"], fact))
            case {"kind": "skipped", "site": str(site), "circuit": int(circuit), "reason": reason}:
                self.skips[site, circuit] = str(reason)
            case {"kind": "tape_marked", "site": str(site)}:
                self.tapes[site] = fact
            case {"kind": "signed_off"}:
                self.signed = (entry["at"], entry["sequence"])
            case {"kind": "undone", "what": what, "site": name}:
                self._undo(what, name)
            case {"kind": "remark"}:
                # The sound of a spoken one is kept by the number of its entry.
                self.others.append((entry["at"], {**fact, "entry": entry["sequence"]}))
            case {
                "kind": "doubt"
                | "hearing"
                | "begun_early"
                | "dwell"
                | "jaws_on"
                | "note_open"
                | "note_closed"
            }:
                pass
            case _:
                self.others.append((entry["at"], fact))

    def _undo(self, what: str, name: str | None) -> None:
        kind, key = _UNDONE.get(what, ("", ""))
        for place in reversed(range(len(self.others) if kind else 0)):
            fact = self.others[place][1]
            if fact["kind"] == kind and (not key or fact.get(key) == name):
                del self.others[place]
                if what == "choice" and isinstance(fact["permission"], str):
                    # The permission is refused again, as it was before the choice.
                    self.instead.pop(fact["permission"], None)
                    self.permissions[fact["permission"]] = False
                break
        if name is None:
            return
        if what == "permission":
            self.permissions.pop(name, None)
        elif what == "tape":
            self.tapes.pop(name, None)
        elif what == "skip":
            last = [key for key in self.skips if key[0] == name]
            if last:
                del self.skips[last[-1]]


def _cloth(facts: Sequence[Mapping[str, Any]]) -> dict[str, int]:
    for fact in facts:
        match fact:
            case {
                "kind": "through_cloth",
                "cloth_tenths_mm": int(cloth),
                "net_tenths_mm": int(net),
            }:
                return {"cloth_tenths_mm": cloth, "net_tenths_mm": net}
    return {}


def _dwell_s(facts: Sequence[Mapping[str, Any]]) -> float | None:
    found = (each.get("dwell_s") for each in facts if each.get("kind") == "dwell")
    told = next(found, None)
    return float(told) if isinstance(told, int | float) else None


def record_of(visit: Mapping[str, Any]) -> VisitRecord:
    """The record of a visit from the store's plain object."""
    reader = _Reader()
    for entry in visit["journal"]:
        reader.take(entry)
    amendments = tuple(visit["amendments"])
    readings = tuple(
        ReadingRecord(
            **found,
            amendments=tuple(each for each in amendments if each["number"] == number),
        )
        for number, found in sorted(reader.readings.items())
    )
    return VisitRecord(
        id=visit["id"],
        client_id=visit["client_id"],
        assessor_id=visit["assessor_id"],
        started_at=visit["started_at"],
        plan=visit["plan"],
        program_version=visit["program_version"],
        readings=readings,
        permissions=reader.permissions,
        skips=reader.skips,
        tapes=reader.tapes,
        signed_at=None if reader.signed is None else reader.signed[0],
        signed_entry=None if reader.signed is None else reader.signed[1],
        amendments=amendments,
        last_at=visit["journal"][-1]["at"] if visit["journal"] else visit["started_at"],
        other_facts=tuple(reader.others),
        instead=reader.instead,
        blanks=any(each["source"] == "program" and not each["words"] for each in visit["journal"]),
    )
