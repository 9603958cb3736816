"""What a struck key comes to: a call, a phrase, an action, a character, or nothing and why.

Nothing is done here; the session does what a stroke asks for.
"""

from dataclasses import dataclass

from capture.inputs import KeyStruck
from capture.language.intents import Intent, JawsOn, Remark
from capture.screen.keymap import Action, Bindings
from capture.screen.keypad import Entry, press
from capture.shown import Shown
from capture.turns import Turns
from capture.visit.state import Visit


@dataclass(frozen=True, slots=True)
class Stroke:
    """What a key asks for: at most one of intent, phrase and action.

    `keys` are those that made the intent, for the journal; the first of them was struck at
    `began_at_s`. `changed`: something is typed, or a list opened or closed. `notice`: why the key
    was not taken, or what is wrong with what was typed.
    """

    intent: Intent | None = None
    phrase: str | None = None
    action: Action | None = None
    keys: str = ""
    began_at_s: float = 0.0
    changed: bool = False
    notice: str = ""


class Keyboard:
    """Collects keys into the entry that the screen shows."""

    def __init__(self, turns: Turns, shown: Shown) -> None:
        self._turns = turns
        self._shown = shown
        self._struck: list[str] = []
        self._began_at_s = 0.0

    def drop(self) -> None:
        """Forget what is half typed."""
        self._shown.entry = Entry()
        self._struck.clear()

    def strike(self, struck: KeyStruck, bindings: Bindings, visit: Visit, now_s: float) -> Stroke:
        """Take a key."""
        before = self._shown.entry
        if bindings.action(struck.key) is Action.DWELL and not before.is_text:
            # It answers nothing, so that it can meet nothing.
            return Stroke(JawsOn(), keys=struck.key, began_at_s=now_s)
        if self._turns.meets_call(struck.seen, now_s):
            # The rest of a number that is half typed is not to begin another one.
            self.drop()
            return _untaken("A key met a spoken call: the key was not taken")
        pressed = press(before, struck.key, bindings, visit)
        single = pressed.intent is not None and not before.is_open
        if single and self._turns.bounces(now_s):
            return _untaken("That key came twice: the second was not taken")
        if not self._struck:
            self._began_at_s = now_s
        self._struck.append(struck.key)
        self._shown.entry = pressed.entry
        # The text of a note is in its intent.
        keys = "note" if isinstance(pressed.intent, Remark) else " ".join(self._struck)
        if not pressed.entry.is_open:
            self._struck.clear()
        return Stroke(
            pressed.intent,
            pressed.phrase,
            pressed.action,
            keys,
            self._began_at_s,
            pressed.entry != before,
            pressed.problem or "",
        )


def _untaken(why: str) -> Stroke:
    return Stroke(notice=f"{why}. Look, then strike again.")
