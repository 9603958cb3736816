"""The voice check as it runs: scripted, and with recordings through the real recogniser."""

import argparse
import io
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import soundfile
from prompt_sound import PAUSE_S, RATE_HZ, record

from capture.check import add_command
from capture.errors import CaptureError, MisuseError
from capture.hearing import MicrophoneIs, Spoken
from capture.language.grammar import Grammar
from capture.pack import Pack
from capture.protocol.protocol import SEVEN_SITES
from capture.recognise.certainty import NAMES, Certainty
from capture.recognise.port import Heard
from capture.recognise.scripted import spoken
from capture.settings_file import read_settings, write_table
from capture.settings_table import SettingsError
from capture.sound.devices import Kind
from capture.sound.errors import DeviceError, MicrophoneError
from capture.sound.scripted import ScriptedSound
from capture.sound.source import Block, MicState
from capture.sound.wav import SoundError
from capture.voice_check import Outcome
from capture.voice_checking import VoiceWish, check_voice
from capture.voice_kept import TABLE, KeptCheck, entries_of, here, kept_check, mark_of
from capture.voice_prompts import Prompt, prompts
from capture.voice_trial import VoiceTrial, parsers_of
from capture.voice_verdict import Tally, Trust

SITES = {site.id for site in SEVEN_SITES.sites}
SURE = Certainty(20.0, (0.0,) * len(NAMES), 0.9, 0.5, 0.9)
BLOCK_S = 0.1
CALL_BLOCKS = 8
"""How long a scripted call is, in blocks."""


@dataclass
class ScriptedEar:
    """A source and its recogniser in one: each event of the script is a phrase or a deed.

    A phrase takes 0.8 s of sound; a deed is done between two blocks, and waits until it shows.
    """

    script: list[str | Callable[[], None]]
    name: str = "script"
    rate_hz: int = 8_000
    overruns: int = 0
    state: MicState = MicState.STARTING
    trouble: DeviceError | None = None
    given: int = 0
    rules: list[str] = field(default_factory=list)

    @property
    def sample_rate_hz(self) -> int:
        """Rate of the blocks."""
        return self.rate_hz

    def get(self, timeout_s: float) -> Block | None:  # noqa: ARG002
        """A block, as long as something is left of the script."""
        while self.script and callable(self.script[0]):
            self.script.pop(0)()  # type: ignore[operator]
        if not self.script:
            self.state = MicState.ENDED
            return None
        self.state = MicState.LISTENING
        self.given += 1
        at_s = (self.given - 1) * BLOCK_S
        return Block(bytes(1_600), self.rate_hz, at_s, False, -30.0, -40.0)

    def now_s(self) -> float:
        """The place in the script."""
        return self.given * BLOCK_S

    def close(self) -> None:
        """The end."""
        self.state = MicState.CLOSED

    def listener(self, rate_hz: int, rule: str) -> "ScriptedEar":  # noqa: ARG002
        """Itself."""
        self.rules.append(rule)
        return self

    def listen(self, context: str) -> None:
        """Note the rule."""
        self.rules.append(context)

    def feed(self, block: bytes) -> Heard | None:  # noqa: ARG002
        """The next phrase after so many blocks."""
        if self.given % CALL_BLOCKS:
            return None
        said = self.script.pop(0)
        assert isinstance(said, str)
        return replace(spoken(said, self.given * BLOCK_S - 0.5), score_per_s=900.0)

    def finish(self) -> Heard | None:
        """Nothing is left."""
        return None

    def reset(self) -> None:
        """Nothing is half heard."""


@pytest.fixture(scope="module")
def asked(grammar: Grammar) -> tuple[Prompt, ...]:
    """The prompts of the English pack."""
    return prompts(grammar, SITES)


def until(holds: Callable[[], bool]) -> None:
    """Wait until the other thread has come so far."""
    give_up = time.monotonic() + 20
    while not holds():
        assert time.monotonic() < give_up
        time.sleep(0.002)


def ran(
    grammar: Grammar,
    asked: Sequence[Prompt],
    script: Callable[[VoiceTrial], Sequence[str | Callable[[], None]]],
) -> tuple[VoiceTrial, list[str], ScriptedEar]:
    """A whole trial over a script: the trial, its lines, the ear."""
    lines: list[str] = []
    ear = ScriptedEar([])
    known = parsers_of(tuple(asked), grammar, SITES)
    trial = VoiceTrial(ear, ear, tuple(asked), known, SURE, watch=lines.append)
    ear.script = list(script(trial))
    trial.begin()
    try:
        give_up = time.monotonic() + 30
        while not trial.over:
            assert time.monotonic() < give_up
            trial.wait(0.02)
    finally:
        trial.close()
    return trial, lines, ear


def outcomes(trial: VoiceTrial) -> list[Outcome]:
    """What became of each prompt."""
    return [each.outcome for each in trial.round.results]


def test_each_prompt_is_heard_by_the_rule_of_its_state(
    grammar: Grammar, asked: tuple[Prompt, ...]
) -> None:
    """Said as they are shown, all twenty are right, each under its own rule."""
    trial, lines, ear = ran(grammar, asked, lambda _: [each.words for each in asked])
    assert outcomes(trial) == [Outcome.RIGHT] * 20
    assert [line.split("say: ")[1] for line in lines if "say: " in line] == [
        each.words for each in asked
    ]
    heard_by = [rule for rule, before in zip(ear.rules, ["", *ear.rules], strict=False)]
    assert heard_by[0] == asked[0].rule
    assert set(heard_by) == {each.rule for each in asked}


def test_other_speech_and_what_is_lost_leave_the_prompt(
    grammar: Grammar, asked: tuple[Prompt, ...]
) -> None:
    """It is shown that nothing was taken, and the prompt waits."""
    trial, lines, _ = ran(grammar, asked[:2], lambda _: ["[unk]", "fifteen", "twelve point five"])
    assert outcomes(trial) == [Outcome.AGAIN, Outcome.RIGHT]
    assert any("other speech, nothing taken" in line for line in lines)


def test_another_call_is_silently_wrong(grammar: Grammar, asked: tuple[Prompt, ...]) -> None:
    """Fifty for fifteen, without a doubt: the worst that can be, told at once."""
    trial, lines, _ = ran(grammar, asked[:1], lambda _: ["fifty"])
    assert outcomes(trial) == [Outcome.WRONG]
    assert any('"fifty" 100%: silently wrong, not "fifteen"' in line for line in lines)


def test_keys_leave_out_go_back_and_end(grammar: Grammar, asked: tuple[Prompt, ...]) -> None:
    """A slip of the tongue is said once more; what is left out is in no count."""

    def script(trial: VoiceTrial) -> list[str | Callable[[], None]]:
        def key(name: str, done: int) -> Callable[[], None]:
            def strike() -> None:
                trial.strike(name)
                until(lambda: len(trial.round.results) == done)

            return strike

        def end() -> None:
            trial.strike("x")
            trial.strike("Q")
            until(lambda: trial.over)

        return ["fifty", key("b", 0), "fifteen", key("enter", 2), "yes", end]

    trial, lines, _ = ran(grammar, asked, script)
    assert outcomes(trial) == [Outcome.RIGHT, Outcome.SKIPPED, Outcome.RIGHT]
    assert trial.round.retaken == 1
    assert any("That key does nothing" in line for line in lines)


def test_a_closed_input_ends_a_live_check(grammar: Grammar, asked: tuple[Prompt, ...]) -> None:
    """Nobody could end it any more."""

    def script(trial: VoiceTrial) -> list[str | Callable[[], None]]:
        return ["fifteen", trial.no_more_keys, lambda: until(lambda: trial.over)]

    trial, lines, _ = ran(grammar, asked, script)
    assert outcomes(trial) == [Outcome.RIGHT]
    assert lines[-1] == "    ! The input is closed: the check ends here."


def test_a_microphone_that_goes_is_told_and_when_it_is_back(
    grammar: Grammar, asked: tuple[Prompt, ...]
) -> None:
    """The prompt waits for it."""
    lines: list[str] = []
    ear = ScriptedEar([])
    known = parsers_of(asked, grammar, SITES)
    trial = VoiceTrial(ear, ear, asked, known, SURE, watch=lines.append)
    gone = MicrophoneError("It gives no sound any more.", "Plug it in again.")
    for state, trouble in ((MicState.LISTENING, None), (MicState.DEAF, gone)):
        trial.post(MicrophoneIs(state, "lapel", trouble))
    trial.drain()
    assert trial.view().notice == "It gives no sound any more. Plug it in again."
    assert trial.view().sound.level_dbfs is None
    trial.post(MicrophoneIs(MicState.LISTENING, "lapel", None))
    trial.drain()
    assert trial.view().notice == "The microphone 'lapel' is back."
    assert (trial.over, trial.round.results) == (False, ())


def test_a_word_for_the_prompt_before_is_not_taken(
    grammar: Grammar, asked: tuple[Prompt, ...]
) -> None:
    """Nobody can answer a prompt that is not there yet."""
    ear = ScriptedEar([])
    known = parsers_of(asked, grammar, SITES)
    trial = VoiceTrial(ear, ear, asked, known, SURE)
    late = Spoken(spoken("fifteen"), epoch=-1, began_at_s=0.0)
    trial.post(late)
    trial.drain()
    assert late.answered.is_set()
    assert trial.round.results == ()
    assert 'Heard "fifteen" for the prompt before' in trial.view().notice


def test_silence_gets_a_hint(grammar: Grammar, asked: tuple[Prompt, ...]) -> None:
    """Whoever is not heard is told what to do, once."""
    lines: list[str] = []
    ear = ScriptedEar([])
    known = parsers_of(asked, grammar, SITES)
    trial = VoiceTrial(ear, ear, asked, known, SURE, watch=lines.append)
    ear.given = 200
    trial.tick()
    trial.tick()
    assert [line for line in lines if "Nothing heard" in line] == lines
    assert len(lines) == 1
    assert "Nothing heard" in trial.view().notice


def test_a_recogniser_that_fails_ends_it(grammar: Grammar, asked: tuple[Prompt, ...]) -> None:
    """With the reason, for the one line of the command."""

    @dataclass
    class Broken(ScriptedEar):
        def feed(self, block: bytes) -> Heard | None:  # noqa: ARG002
            raise CaptureError("The model is broken.", "Install it again.")

    ear = Broken(["fifteen"])
    known = parsers_of(asked, grammar, SITES)
    trial = VoiceTrial(ear, ear, asked, known, SURE)
    trial.begin()
    while not trial.over:
        trial.wait(0.02)
    trial.close()
    assert trial.trouble is not None
    assert trial.trouble.message == "The model is broken."


# With real sound.


def checked(
    pack: Pack, wish: VoiceWish, system: ScriptedSound | None = None
) -> tuple[Trust, list[str]]:
    """Run the check: its verdict and its lines."""
    lines: list[str] = []
    found = check_voice(lines.append, system or ScriptedSound(plugged=[]), pack, wish)
    return found, lines


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory, asked: tuple[Prompt, ...]) -> Path:
    """All prompts as they should be said."""
    folder = tmp_path_factory.mktemp("good")
    return record(folder / "good.wav", [each.words for each in asked])


def test_a_recorded_round_through_the_real_recogniser(
    pack: Pack, good: Path, tmp_path: Path
) -> None:
    """Every prompt is answered, most are right at once, and none is silently wrong."""
    found, lines = checked(pack, VoiceWish(tmp_path / "settings.toml", recording=good))
    assert found in {Trust.VOICE, Trust.OFTEN}, lines
    (counts,) = [line for line in lines if line.startswith("20 spoken: ")]
    assert int(counts.split()[2]) >= 15
    assert counts.endswith("0 silently wrong.")
    assert not (tmp_path / "settings.toml").exists()
    assert lines[-1].startswith("It is not kept; --remember keeps it")


@pytest.fixture(scope="module")
def bad(tmp_path_factory: pytest.TempPathFactory, asked: tuple[Prompt, ...]) -> Path:
    """All prompts, with five said for nine, and one site for another."""
    slips = {"nine": "five", "suprailiac sixteen": "subscapular sixteen"}
    folder = tmp_path_factory.mktemp("bad")
    return record(folder / "bad.wav", [slips.get(each.words, each.words) for each in asked])


def test_wrong_answers_send_to_the_keypad_and_can_raise_the_threshold(
    pack: Pack, bad: Path, tmp_path: Path
) -> None:
    """What was taken without a doubt would have been asked about with the threshold kept."""
    path = tmp_path / "settings.toml"
    found, lines = checked(pack, VoiceWish(path, recording=bad, remember=True))
    assert found is Trust.KEYPAD
    wrong = [line for line in lines if line.endswith("taken without a doubt.")]
    assert any(line.strip().startswith('"nine": heard "five"') for line in wrong)
    kept = kept_check(read_settings(path))
    fitted = pack.certainty()
    assert kept is not None
    assert fitted is not None
    assert kept.tally.silently_wrong == len(wrong) >= 1
    assert kept.normal_from > fitted.normal_from
    held = here(kept, fitted, "bad.wav")
    assert held.certainty is not None
    assert held.certainty.sure_from == held.certainty.normal_from == kept.normal_from
    # The same again under what was kept: nothing gets through without a question any more.
    again, lines = checked(pack, VoiceWish(path, recording=bad, remember=True))
    assert again is not Trust.KEYPAD
    assert lines[1].startswith("Voice check of ")
    assert not any(line.endswith("taken without a doubt.") for line in lines)
    after = kept_check(read_settings(path))
    if again is Trust.OFTEN:
        assert after is not None
        assert after.normal_from == kept.normal_from


def test_fifty_for_fifteen_is_never_right(pack: Pack, tmp_path: Path) -> None:
    """The pair that the read-back is for: whatever the recogniser says, it is not counted right."""
    path = record(tmp_path / "pair.wav", ["fifty"])
    _, lines = checked(pack, VoiceWish(tmp_path / "settings.toml", recording=path))
    (counts,) = [line for line in lines if " spoken: " in line]
    assert "0 right at once" in counts
    assert "19 left out" in counts


def test_silence_is_too_little(pack: Pack, tmp_path: Path) -> None:
    """And is not kept, even if that was asked for."""
    path = tmp_path / "silence.wav"
    hiss = np.random.default_rng(1).normal(0, 0.0005, round(5 * PAUSE_S * RATE_HZ))
    soundfile.write(path, hiss, RATE_HZ, subtype="PCM_16")
    wish = VoiceWish(tmp_path / "settings.toml", recording=path, remember=True)
    found, lines = checked(pack, wish)
    assert found is Trust.LITTLE
    assert lines[-1] == "It is not kept: too little was heard."
    assert not wish.settings.exists()


@pytest.mark.parametrize(
    ("system", "told"),
    [
        (ScriptedSound(installed=False), "libportaudio2"),
        (ScriptedSound(plugged=[]), "no microphone"),
        (
            ScriptedSound(open_errors={Kind.MICROPHONE: MicrophoneError("It is busy.", "Wait.")}),
            "It is busy. Wait.",
        ),
    ],
    ids=["no library", "no microphone", "busy"],
)
def test_without_a_microphone_it_ends_with_one_error(
    system: ScriptedSound, told: str, pack: Pack, tmp_path: Path
) -> None:
    """The command makes one line of it."""
    with pytest.raises(DeviceError) as caught:
        checked(pack, VoiceWish(tmp_path / "settings.toml"), system)
    assert told in str(caught.value)


def test_a_live_check_with_closed_input_ends(pack: Pack, tmp_path: Path) -> None:
    """A microphone that is there is let go of again."""
    system = ScriptedSound()
    found, lines = checked(pack, VoiceWish(tmp_path / "settings.toml"), system)
    assert found is Trust.LITTLE
    assert not any(stream.active for stream in system.inputs)
    assert any("Not enough was heard" in line for line in lines)


def test_what_cannot_be_used_is_told(pack: Pack, tmp_path: Path) -> None:
    """A recording that is none, and a kept table with a slip, before anything is listened to."""
    (tmp_path / "notes.wav").write_text("no sound", encoding="utf-8")
    settings = tmp_path / "settings.toml"
    with pytest.raises(SoundError):
        checked(pack, VoiceWish(settings, recording=tmp_path / "notes.wav"))
    settings.write_text('[voice_check]\ndate = "soon"\n', encoding="utf-8")
    with pytest.raises(SettingsError):
        checked(pack, VoiceWish(settings))


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Callable[..., int]]:
    """`foldcall check` with a machine without sound and a settings file of its own."""
    monkeypatch.setenv("FOLDCALL_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setattr("sys.stdin", io.StringIO())
    for module in ("check", "voice_checking"):
        monkeypatch.setattr(f"capture.{module}.PortAudio", lambda: ScriptedSound(plugged=[]))
    parser = argparse.ArgumentParser()
    add_command(parser.add_subparsers())

    def call(*arguments: str) -> int:
        chosen = parser.parse_args(["check", *arguments])
        code = chosen.command(chosen)
        assert isinstance(code, int)
        return code

    yield call
    assert threading.active_count() < 20


def test_the_command_tells_the_verdict_by_its_exit_code(
    command: Callable[..., int], good: Path, bad: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 where the voice can be used, 1 where it cannot."""
    assert command("--voice", "--from-wav", str(good), "--remember") == 0
    assert "It is kept in" in capsys.readouterr().out
    assert command("--voice", "--from-wav", str(bad)) == 1


@pytest.mark.parametrize(
    "options",
    [
        ["--voice", "--store", "a.db"],
        ["--voice", "--speaker", "box"],
        ["--voice", "--from-wav", "a.wav", "--microphone", "lap"],
    ],
)
def test_what_a_voice_check_does_not_use_is_refused(
    command: Callable[..., int], options: list[str]
) -> None:
    """Else it would be passed over."""
    with pytest.raises(MisuseError):
        command(*options)


@pytest.mark.parametrize("options", [["--from-wav", "a.wav"], ["--plain"]])
def test_options_of_the_voice_check_need_it(
    command: Callable[..., int], options: list[str]
) -> None:
    """Else they would be passed over."""
    with pytest.raises(MisuseError, match="voice check"):
        command(*options)


def test_check_tells_what_is_kept(
    command: Callable[..., int], pack: Pack, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """None yet, then the day and the counts."""
    store = str(tmp_path / "visits.db")
    command("--store", store)
    (line,) = [each for each in capsys.readouterr().out.splitlines() if each.split()[1] == "room"]
    assert line.startswith("note")
    assert "foldcall check --voice" in line
    fitted = pack.certainty()
    assert fitted is not None
    kept = KeptCheck(date(2026, 5, 3), "lapel", Tally(19, 1, 0, 0), mark_of(fitted))
    write_table(tmp_path / "settings.toml", TABLE, entries_of(kept))
    command("--store", store)
    (line,) = [each for each in capsys.readouterr().out.splitlines() if each.split()[1] == "room"]
    assert line.startswith("ok")
    assert "Voice check of 3 May 2026: 19 of 20 right at once" in line
