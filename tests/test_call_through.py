"""Call-through: what makes a reading count without its own yes, and what never does."""

import random
from dataclasses import replace

import pytest

from capture.language.grammar import Grammar
from capture.language.intents import Confirm, Finish, GoTo, Refuse, SignOff, Undo
from capture.recognise.scripted import spoken
from capture.road import LATEST_YES_S
from capture.visit.announcement import ReadBack, Refused, Saved, Why
from capture.visit.course import goes_through, listening_rule, phase, question
from capture.visit.replay import replay
from capture.visit.state import Confirmation, Phase, Plan
from tests.conftest import FIRST, Desk

SITES = ("chest", "midaxillary", "triceps", "subscapular", "abdominal", "suprailiac", "thigh")


@pytest.fixture
def through(grammar: Grammar, plan: Plan) -> Desk:
    """A visit in call-through, at its first fold."""
    return Desk(grammar, replace(plan, confirmation=Confirmation.CALL_THROUGH)).marked()


def values(desk: Desk) -> list[tuple[str, int]]:
    """The readings that count."""
    return [(each.target.site, each.value_tenths_mm) for each in desk.visit.confirmed]


def test_a_reading_counts_when_the_next_site_is_called(through: Desk) -> None:
    """The call saves the one before and is read back itself."""
    through.say("chest eight point four", "midaxillary eleven point two")
    assert values(through) == [("chest", 84)]
    assert through.told[0] == Saved("chest", 84)
    assert through.told[-1] == ReadBack("midaxillary", 1, 112, ())


def test_going_to_the_next_site_is_calling_it(through: Desk) -> None:
    """By key or in words."""
    through.say("eight point four").key(GoTo("midaxillary"))
    assert values(through) == [("chest", 84)]


def test_a_yes_counts_as_ever(through: Desk) -> None:
    """Whoever likes says yes."""
    assert values(through.say("eight point four", "yes")) == [("chest", 84)]


def test_a_bare_number_never_makes_the_one_before_count(through: Desk) -> None:
    """It is a mishearing said again as likely as the next reading."""
    through.say("eight point four").say("eleven point two")
    assert values(through) == []


@pytest.mark.parametrize("site", ["abdominal", "thigh"])
def test_a_doubtful_reading_needs_its_own_yes(through: Desk, site: str) -> None:
    """Fifteen may be fifty: the next site is refused until it is settled."""
    through.say(f"{site} fifteen", "triceps ten point six")
    assert values(through) == []
    assert through.told[0] == Refused(Why.OTHER_PENDING, site)
    assert isinstance(question(through.visit), ReadBack)
    assert values(through.say("yes", "triceps ten point six")) == [(site, 150)]


def test_no_and_a_correction_still_work(through: Desk) -> None:
    """Until the next site is called nothing has been saved."""
    through.say("chest eight point four", "no nine", "midaxillary eleven point two", "no")
    assert values(through) == [("chest", 90)]
    assert through.visit.pending is None


def test_undo_takes_back_what_counted_by_the_call(through: Desk) -> None:
    """First what waits, then the reading before it."""
    through.say("chest eight point four", "midaxillary eleven point two", "undo", "undo")
    assert values(through) == []


def test_a_call_heard_unclearly_saves_nothing(through: Desk) -> None:
    """The reading goes on waiting, and the call is asked for again."""
    through.say("chest eight point four")
    through.say("thigh sixteen", confidence=0.6, rivals=("no sixteen",))
    assert values(through) == []
    assert through.visit.pending is not None
    assert through.visit.pending.target.site == "chest"


def test_a_call_long_after_the_read_back_saves_nothing(through: Desk) -> None:
    """After an hour's sleep of the machine nobody knows what the speaker saw."""
    through.say("chest eight point four")
    through.road.hear(spoken("midaxillary eleven"), waited_s=LATEST_YES_S + 1)
    assert values(through) == []


def test_a_call_that_cannot_be_taken_saves_nothing(through: Desk) -> None:
    """Both or neither: a value off the scale leaves the reading before it waiting."""
    through.say("chest eight point four", "midaxillary ninety")
    assert values(through) == []
    assert through.visit.pending is not None


def test_the_last_reading_needs_its_yes(through: Desk) -> None:
    """There is no site to call after it, and neither finishing nor signing off is a yes."""
    for _ in range(2):
        for site, value in zip(SITES, FIRST, strict=True):
            through.say(f"{site} {value}")
            if through.visit.pending is not None and through.visit.pending.doubts:
                through.say("yes")
    assert len(through.visit.confirmed) == 13
    assert not goes_through(through.visit)
    through.key(Finish(), SignOff())
    assert len(through.visit.confirmed) == 13
    assert phase(through.visit) is Phase.CIRCUITS
    through.say("yes")
    assert len(through.visit.confirmed) == 14
    assert phase(through.visit) is Phase.CLOSING


def test_without_call_through_the_next_site_saves_nothing(measuring: Desk) -> None:
    """It is not even listened for."""
    measuring.say("chest eight point four")
    assert listening_rule(measuring.visit) == "readback"
    measuring.say("midaxillary eleven point two").key(GoTo("midaxillary"))
    assert values(measuring) == []


NUMBERS = ("eight point four", "fifteen", "fifty", "thirteen", "thirty", "eighty", "seventeen")


def test_no_doubtful_reading_counts_without_its_yes(grammar: Grammar, plan: Plan) -> None:
    """Whatever is called in whatever order; and a replay comes to the same."""
    settled = replace(plan, confirmation=Confirmation.CALL_THROUGH)
    through, doubtful = 0, 0
    for seed in range(16):
        chance, desk = random.Random(seed), Desk(grammar, settled).marked()
        for _ in range(60):
            pending, before = desk.visit.pending, desk.visit.confirmed
            said_yes = called_something(desk, chance)
            for each in desk.visit.confirmed:
                if each in before:
                    continue
                assert pending is not None
                assert each.number == pending.number
                assert said_yes or not pending.doubts
                through += not said_yes
                doubtful += bool(pending.doubts)
        assert replay(settled, desk.journal) == desk.visit
    assert through > 10
    assert doubtful > 10


def called_something(desk: Desk, chance: random.Random) -> bool:
    """Key or say something, mostly a value at a site; whether it was a yes."""
    kind = chance.random()
    if kind < 0.1:
        intent = chance.choice((Confirm(), Refuse(), Undo(), GoTo(chance.choice(SITES))))
        desk.key(intent)
        return isinstance(intent, Confirm)
    phrase = f"{chance.choice(SITES)} {chance.choice(NUMBERS)}"
    if kind < 0.3:
        phrase = chance.choice(("yes", "yes", "no", "undo", f"no {chance.choice(NUMBERS)}"))
    sure = chance.choice((1.0, 1.0, 0.97, 0.7))
    rivals = (f"{chance.choice(SITES)} fifty",) if sure < 1 else ()
    desk.say(phrase, confidence=sure, rivals=rivals)
    return phrase == "yes"


def test_the_plan_keeps_its_mode(plan: Plan) -> None:
    """A visit is gone on with as it was begun; one without a mode asks for each yes."""
    settled = replace(plan, confirmation=Confirmation.CALL_THROUGH)
    assert Plan.from_plain(settled.to_plain()) == settled
    old = settled.to_plain()
    del old["confirmation"]
    assert Plan.from_plain(old).confirmation is Confirmation.EACH
