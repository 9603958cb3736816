"""English for permissions, what is offered instead, cautions and setup: fixed sentences."""

from collections.abc import Mapping

from capture.language.intents import Caution, Option
from capture.protocol.setup import BARE, SetupField, SiteSetup
from capture.protocol.sites import Side
from capture.wording.numbers import NumberWords

PERMISSIONS = {
    "clothing": "May clothing be moved at the sites?",
    "marks": "May the skin be marked?",
    "touch": "May the client be touched, with hands and caliper?",
}
PERMISSION_NAMES = {
    "clothing": "moving clothing",
    "marks": "marks on the skin",
    "touch": "touch",
}
OFFERS = (
    "Offer fewer sites, through clothing, client locates. Chaperone, other assessor. "
    "Air displacement, underwater weighing, impedance. Or postpone."
)
POLICY = "Defer to local policy and licensed practice."

CHOSEN: Mapping[Option, str] = {
    Option.FEWER_SITES: "Fewer sites: skip those that are refused.",
    Option.THROUGH_CLOTHING: "Through clothing: say how thick the cloth is. "
    "The result is an estimate.",
    Option.CLIENT_LOCATES: "The client locates the landmarks. No marks on the skin.",
    Option.CHAPERONE: "A chaperone is asked in.",
    Option.OTHER_ASSESSOR: "Another assessor takes over.",
    Option.AIR_DISPLACEMENT: "Air displacement: a closed chamber, tight clothing, a swim cap.",
    Option.UNDERWATER_WEIGHING: "Underwater weighing: a tank, and breathing out under water.",
    Option.IMPEDANCE: "Impedance: a meter, an empty bladder, rest. Not with a pacemaker.",
    Option.POSTPONE: "Postponed to another day.",
}
OPTION_NAMES: Mapping[Option, str] = {
    Option.FEWER_SITES: "fewer sites",
    Option.THROUGH_CLOTHING: "through clothing",
    Option.CLIENT_LOCATES: "client locates",
    Option.CHAPERONE: "chaperone",
    Option.OTHER_ASSESSOR: "other assessor",
    Option.AIR_DISPLACEMENT: "air displacement",
    Option.UNDERWATER_WEIGHING: "underwater weighing",
    Option.IMPEDANCE: "impedance",
    Option.POSTPONE: "postponed",
}
CAUTIONS: Mapping[Caution, str] = {
    Caution.EXERCISE: "After exercise: fluid shifts change folds. Better rested.",
    Caution.HOT_SKIN: "Hot skin: folds read thicker. Let the client cool down.",
    Caution.WET_SKIN: "Wet skin slips: dry it first.",
    Caution.LOTION: "Lotion: the fold slips. Wipe it off first.",
    Caution.PREGNANCY: "Pregnancy: no equation holds. Keep to the folds, or postpone.",
    Caution.OEDEMA: "Swelling: no equation holds. Postpone, or take care.",
    Caution.TOO_THICK: "A fold the caliper cannot span: skip that site, do not guess.",
    Caution.SKIN: "Skin condition: do not measure broken or infected skin.",
    Caution.SCAN: "Recent scan: ask whether the site may be touched.",
    Caution.SURGERY: "Surgery: keep away from the scar. Postpone if it is recent.",
}
"""The usual cautions (textbooks and laboratory sheets; common practice where they are silent)."""

CAUTION_NAMES: Mapping[Caution, str] = {
    Caution.EXERCISE: "exercise",
    Caution.HOT_SKIN: "hot skin",
    Caution.WET_SKIN: "wet skin",
    Caution.LOTION: "lotion",
    Caution.PREGNANCY: "pregnancy",
    Caution.OEDEMA: "swelling",
    Caution.TOO_THICK: "too thick",
    Caution.SKIN: "skin condition",
    Caution.SCAN: "recent scan",
    Caution.SURGERY: "surgery",
}
SHARES = {(1, 3): "one third, ", (2, 3): "two thirds, ", (1, 4): "one quarter, "}
"""How the share of a tape's length is named; the half is what is usual, and is not named."""

PREPARATIONS = {
    "ready": "Caliper wiped, no reason for care? Ready; or caution and the reason.",
    "wiped": "Is the caliper wiped for this client?",
    "cautions": "Any reason to postpone or to take care? Say caution and the reason. Or no.",
    "other_caliper": "Last time another caliper was used: the two do not compare. Go on?",
    "other_assessor": "Last time another assessor measured: compare with care. Go on?",
}
PREPARED = {
    ("ready", True): "Ready.",
    ("ready", False): "Then one by one.",
    ("wiped", True): "Caliper wiped.",
    ("wiped", False): "Not wiped. Wipe it before it touches the client.",
    ("cautions", True): f"Recorded. {POLICY}",
    ("cautions", False): f"No more cautions. {POLICY}",
    ("other_caliper", True): "Another caliper: recorded.",
    ("other_caliper", False): "Change the caliper, or postpone. Recorded.",
    ("other_assessor", True): "Another assessor: recorded.",
    ("other_assessor", False): "Change the assessor, or postpone. Recorded.",
}
PREPARATION_NAMES = {
    "ready": "ready",
    "wiped": "caliper wiped",
    "cautions": "the question for cautions",
    "other_caliper": "the question for the caliper",
    "other_assessor": "the question for the assessor",
}


def undone_name(what: str, name: str) -> str | None:
    """What was taken back, where it is about no site; None for anything else."""
    match what:
        case "permission":
            return f"the answer on {PERMISSION_NAMES[name]}"
        case "choice":
            return OPTION_NAMES[Option(name)]
        case "caution":
            return f"caution {CAUTION_NAMES[Caution(name)]}"
        case "preparation":
            return PREPARATION_NAMES[name]
        case "remark":
            return "the note"
        case "finish":
            return "the early finish"
        case _:
            return None


def setup_value(numbers: NumberWords, field: SetupField, value: str | int | None) -> str:
    """What a field of a setup holds, in words."""
    match field, value:
        case SetupField.FOLD, _:
            return f"fold {value}"
        case SetupField.SIDE, _:
            return f"{value} side"
        case SetupField.CLOTH, int():
            return "bare skin" if value == BARE else f"cloth {numbers.plain(value)}"
        case SetupField.OFFSET, int():
            return f"offset {numbers.plain(value)}"
        case SetupField.CLOTH, _:
            return "cloth of unknown thickness"
        case _:
            return "no offset"


def setup_words(numbers: NumberWords, setup: SiteSetup) -> str:
    """A whole setup, short: the fold always, the rest where it is worth a word."""
    parts = [setup_value(numbers, SetupField.FOLD, setup.fold.value)]
    if setup.side is not Side.RIGHT:
        parts.append(setup_value(numbers, SetupField.SIDE, setup.side.value))
    if setup.cloth_tenths_mm != BARE:
        parts.append(setup_value(numbers, SetupField.CLOTH, setup.cloth_tenths_mm))
    if setup.offset_mm is not None:
        parts.append(setup_value(numbers, SetupField.OFFSET, setup.offset_mm))
    if setup.mark is not None:
        parts.append(f"mark at {numbers.length(setup.mark)}")
    return ", ".join(parts)
