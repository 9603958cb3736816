"""Shared fixtures: the English pack, plans, and a desk where a visit is spoken and keyed."""

from dataclasses import dataclass, field

import pytest

from capture.composition.forms import Sex
from capture.language.grammar import Grammar
from capture.language.intents import Intent
from capture.pack import Pack, open_pack
from capture.protocol.caliper import Caliper
from capture.protocol.protocol import SEVEN_SITES
from capture.recognise.port import Heard
from capture.recognise.scripted import spoken
from capture.resources import data_folder
from capture.road import Road
from capture.visit.announcement import Announcement
from capture.visit.call import Call
from capture.visit.entry import Entry
from capture.visit.state import Plan, Visit
from capture.wording.english import English
from capture.wording.numbers import NumberWords

NOON = "2026-03-02T12:00:00+01:00"


@pytest.fixture(scope="session")
def pack() -> Pack:
    """The English language pack."""
    return open_pack(data_folder("grammars") / "en")


@pytest.fixture(scope="session")
def grammar(pack: Pack) -> Grammar:
    """The English grammar."""
    return pack.grammar


@pytest.fixture(scope="session")
def numbers(grammar: Grammar) -> NumberWords:
    """Numbers as the program says them."""
    return NumberWords(grammar)


@pytest.fixture(scope="session")
def english(numbers: NumberWords) -> English:
    """English wording for the seven sites."""
    return English(numbers, SEVEN_SITES)


@pytest.fixture(scope="session")
def plan() -> Plan:
    """Seven sites, a caliper in steps of 0.2 mm that opens to 80 mm."""
    return Plan(SEVEN_SITES, Caliper("dial caliper", 2, 800), Sex.FEMALE, 41)


@dataclass
class Desk:
    """A visit at which a test speaks and strikes keys; it remembers all that comes of it.

    `told` holds what was said after the last call, `journal` every entry, `log` the order of
    both.
    """

    grammar: Grammar
    plan: Plan
    told: list[Announcement] = field(default_factory=list)
    journal: list[Entry] = field(default_factory=list)
    ignored_calls: list[Heard] = field(default_factory=list)
    log: list[tuple[str, object]] = field(default_factory=list)
    now: str = NOON

    def __post_init__(self) -> None:
        self.road = Road(Visit(self.plan), self.grammar, self, self, lambda: self.now)

    @property
    def visit(self) -> Visit:
        """The present state."""
        return self.road.visit

    def append(self, entry: Entry) -> None:
        """Keep an entry, as a journal does."""
        self.log.append(("journal", entry))
        self.journal.append(entry)

    def heard(self, call: Call) -> None:
        """Note that a call came in."""
        self.log.append(("heard", call))

    def ignored(self, heard: Heard) -> None:
        """Note other speech."""
        self.ignored_calls.append(heard)

    def said(self, announcement: Announcement, visit: Visit) -> None:
        """Note what the program says."""
        assert visit is self.visit
        self.log.append(("said", announcement))
        self.told.append(announcement)

    def say(self, *phrases: str, confidence: float = 1.0, rivals: tuple[str, ...] = ()) -> "Desk":
        """Speak some phrases, one utterance each."""
        for phrase in phrases:
            self.told.clear()
            self.road.hear(spoken(phrase, confidence=confidence, rivals=rivals))
        return self

    def key(self, *intents: Intent) -> "Desk":
        """Strike keys that mean these intents."""
        for intent in intents:
            self.told.clear()
            self.road.key(intent, "keys")
        return self

    def permitted(self) -> "Desk":
        """Grant all three permissions."""
        return self.say("granted", "granted", "granted")

    def marked(self) -> "Desk":
        """Grant the permissions and mark the three midpoints."""
        self.permitted()
        for _ in self.plan.protocol.tape_sites:
            self.say("six and three quarters", "yes")
        return self

    def circuit(self, *values: str) -> "Desk":
        """Read and confirm these values at the sites in their order."""
        for value in values:
            self.say(value, "yes")
        return self


FIRST = ("eight point four", "eleven", "ten point six", "fourteen", "twenty two", "eleven", "nine")
"""A plausible first circuit of the seven sites."""


@pytest.fixture
def desk(grammar: Grammar, plan: Plan) -> Desk:
    """A new visit at which nothing has been asked yet."""
    return Desk(grammar, plan)


@pytest.fixture
def measuring(desk: Desk) -> Desk:
    """A visit with permissions and tape marks, at its first fold."""
    return desk.marked()


@pytest.fixture
def halfway(measuring: Desk) -> Desk:
    """A visit whose first circuit is done."""
    return measuring.circuit(*FIRST)


@pytest.fixture
def finished(halfway: Desk) -> Desk:
    """A visit whose two circuits are done and agree."""
    return halfway.circuit(*FIRST)
