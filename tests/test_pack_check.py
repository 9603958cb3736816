"""A language pack of one's own: copied, changed, checked, and refused where it is dangerous."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from capture.cli import main
from capture.errors import CaptureError
from capture.findings import Finding, Mark
from capture.pack import Pack
from capture.pack_check import NEEDED, faults_of, pack_findings, prompts_finding, text_findings
from capture.packs import chosen_pack, copy_pack, own_folder
from capture.settings_table import SettingsError, parse_settings
from capture.visit.course import listening_rule
from capture.visit.state import Permission
from capture.wiring import certainty_of, default_pack

Change = Callable[[str, str, str], None]


@pytest.fixture
def own(pack: Pack, tmp_path: Path) -> Path:
    """A copy of the English pack's texts; model and prompts are those of the pack itself."""
    folder = tmp_path / "own"
    folder.mkdir()
    for file in pack.folder.iterdir():
        if file.is_file():
            shutil.copyfile(file, folder / file.name)
        else:
            (folder / file.name).symlink_to(file, target_is_directory=True)
    return folder


@pytest.fixture
def change(own: Path) -> Change:
    """Replaces one text in a file of the own pack, which must hold it exactly once."""

    def replace(name: str, old: str, new: str) -> None:
        text = (own / name).read_text(encoding="utf-8")
        assert text.count(old) == 1, (name, old)
        (own / name).write_text(text.replace(old, new), encoding="utf-8")

    return replace


def lines(found: tuple[Finding, ...] | list[Finding], mark: Mark) -> list[str]:
    """The findings of one kind, without their marks."""
    return [f"{each.told} {each.hint}".strip() for each in found if each.mark is mark]


def failed(own: Path) -> list[str]:
    """What is wrong with the texts of an own pack."""
    return lines(text_findings(own, own=True), Mark.FAILED)


def noted(own: Path) -> list[str]:
    """What is worth knowing of the texts of an own pack."""
    return lines(text_findings(own, own=True), Mark.NOTE)


def test_a_fresh_copy_has_neither_faults_nor_notes(own: Path) -> None:
    """Nobody who has changed nothing is told anything."""
    found = list(pack_findings(own, None, own=True))
    assert [each.mark for each in found] == [Mark.OK] * len(found)
    assert [each.what for each in found] == [
        *("language", "lexicon", "alike", "recogniser", "doubt", "pack")
    ]
    assert prompts_finding(own).mark is Mark.OK


def test_all_mistakes_are_told_in_one_go(own: Path, change: Change) -> None:
    """In two grammar files and in the pronunciations: each line has its place."""
    change("sites.gram", "thigh {site = thigh}", "thigh {site thigh}")
    change("commands.gram", "public <undo> = undo {", "public <undo> undo {")
    change("commands.gram", "public <pause> = pause {", "public <pause> = pause | ; {")
    change("numbers.gram", "oh | nought", "oh | nil")
    change("pronunciations.dict", "six  S IH K S\n", "six  S IH0 K S\n")
    found = failed(own)
    assert [each.split(": ")[0] for each in found] == [
        "commands.gram:10:15",
        "commands.gram:12:26",
        "commands.gram:12:28",
        "sites.gram:17:23",
        "pronunciations.dict, line 20",
        "numbers.gram:7:22",
        "numbers.gram:10:30",
    ]
    assert "'=' expected" in found[0]
    assert "unknown phone IH0 in six" in found[4]
    assert "no pronunciation of 'nil'. Add a line such as: belly  B EH L IY" in found[5]
    assert "no pronunciation of 'six'" in found[6]


@pytest.mark.parametrize(
    "content",
    [b"nothing", b"#JSGF\ngrammar foldcall.numbers;\n", b"\xff\xfe", None],
    ids=["nothing", "header", "not UTF-8", "a folder"],
)
def test_what_only_follows_from_a_mistake_is_not_told(own: Path, content: bytes | None) -> None:
    """Rules that cannot be found because their file could not be read are no mistakes of others."""
    file = own / "numbers.gram"
    file.unlink()
    if content is None:
        file.mkdir()
    else:
        file.write_bytes(content)
    (told,) = failed(own)
    assert "numbers.gram" in told


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        (
            "sites.gram",
            "| thigh {site = thigh}",
            "| thigh {sight = thigh}",
            "sites.gram:17:23: no call has a slot 'sight'. Did you mean site?",
        ),
        (
            "commands.gram",
            "lotion {caution = lotion}",
            "lotion {caution = lotoin}",
            "commands.gram:41:34: 'lotoin' is no caution. Did you mean lotion?",
        ),
        (
            "commands.gram",
            "public <later> = later {call = later};",
            "public <later> = later {call = postponed};",
            "commands.gram:66:24: 'postponed' is no call. Choose of: confirm, refuse, ",
        ),
        (
            "numbers.gram",
            "| nineteen {whole += 19}",
            "| nineteen {whole = nineteen}",
            "numbers.gram:16:19: whole holds a number, not 'nineteen'. Write {whole += 5}, for "
            "example.",
        ),
        (
            "sites.gram",
            "| thigh {site = thigh}",
            "| thigh {site = 7}",
            "sites.gram:17:23: site holds a name, not 7. Write {site = name}.",
        ),
    ],
)
def test_a_tag_without_meaning(
    own: Path, change: Change, file: str, old: str, new: str, told: str
) -> None:
    """A wrong slot or name is told with its place; a lost site would be another site's reading."""
    change(file, old, new)
    (found,) = failed(own)
    assert found.startswith(told)


def test_a_site_that_no_protocol_has_is_a_note(own: Path, change: Change) -> None:
    """It may belong to a protocol of one's own, or be a slip."""
    change("sites.gram", "chest {site = chest}", "chest {site = cheast}")
    assert any(each.startswith("sites.gram:7:23: no protocol") for each in noted(own))
    assert any("Did you mean chest?" in each for each in noted(own))


def test_tags_that_make_no_call(own: Path, change: Change) -> None:
    """A skip without its reason is found before anybody says it, with the words that make it."""
    change("commands.gram", "injury {reason = injury}", "injury")
    assert any(
        each.startswith("'skip injury' has a meaning that no call has") for each in failed(own)
    )


def test_a_missing_rule(own: Path, change: Change) -> None:
    """A state that would be deaf is a fault, whether its rule is gone or only not public."""
    change("listening.gram", "public <readback> =", "public <reedback> =")
    change("numbers.gram", "public <digit_number>", "<digit_number>")
    told = failed(own)
    assert any("no public rule <readback> in the grammar foldcall.listening" in one for one in told)
    assert any("Write 'public' before it, at numbers.gram:42:1." in one for one in told)
    (note,) = [each for each in noted(own) if "reedback" in each]
    assert note.endswith("no state of a visit is called 'reedback'. Did you mean readback?")
    with pytest.raises(CaptureError, match="nothing would be heard in that state"):
        chosen_pack(own)


def test_a_rule_within_itself_and_one_for_nothing(own: Path, change: Change) -> None:
    """The first cannot be listened for; the second is only left over."""
    change(
        "commands.gram", "public <ready> = ready {", "<spare> = ready;\npublic <ready> = ready {"
    )
    assert any("nothing uses the rule <spare>" in each for each in noted(own))
    change("commands.gram", "<spare> = ready;", "<spare> = ready <spare>;")
    change("commands.gram", "public <ready> = ready {", "public <ready> = ready [<spare>] {")
    assert any("contains itself" in each for each in failed(own))


def test_a_synonym_that_sounds_like_a_number_is_refused(own: Path, change: Change) -> None:
    """The word "to" for the tenth three would be heard as two: no command takes such a pack."""
    change("numbers.gram", "three {tenths = 3}", "three {tenths = 3} | to {tenths = 3}")
    (told,) = failed(own)
    assert "'two' sounds like 'to' and means something else in reading_wanted" in told
    with pytest.raises(CaptureError, match="cannot be used") as refused:
        chosen_pack(own)
    assert f"foldcall check --pack {own}" in refused.value.hint


def test_two_meanings_of_the_same_words(own: Path, change: Change) -> None:
    """They would stop the program in the middle of a visit."""
    change("sites.gram", "abdomen {site = abdominal}", "thigh {site = abdominal}")
    (told,) = failed(own)
    assert "has two meanings" in told
    assert "site abdominal or thigh" in told


def test_a_word_that_is_nearly_another_is_a_note(own: Path, change: Change) -> None:
    """One sound apart from a word that was there; what the English pack has is not told again."""
    change("sites.gram", "thigh {site = thigh}", "(thigh | vie) {site = thigh} | tie {site = calf}")
    with (own / "pronunciations.dict").open("a", encoding="utf-8") as file:
        file.write("vie  V AY\ntie  T AY\n")
    assert failed(own) == []
    (told,) = noted(own)
    assert told.startswith("one sound apart, with another value: thigh/tie, tie/two, tie/vie.")


def test_what_cannot_be_said_any_more_is_told(own: Path, change: Change) -> None:
    """Whoever leaves a call out, or translates a pack in part, learns what has to be keyed."""
    change("commands.gram", "| lotion {caution = lotion}", "")
    change("numbers.gram", "| nineteen {whole += 19}", "")
    told = noted(own)
    states = "preparation and permission and closing and anything"
    assert f"nothing is said for note lotion in {states}. It has to be keyed." in told
    assert any(each.startswith("10 readings have no words, such as 19, 19.1") for each in told)
    assert any("'nineteen'" not in each and "14" not in each for each in told)


def test_prompts_that_lack_a_word(own: Path, change: Change) -> None:
    """A number word that is read back and was never spoken is told, with what is heard instead."""
    change("numbers.gram", "= twenty {whole += 20}", "= score {whole += 20}")
    found = prompts_finding(own)
    assert found.mark is Mark.NOTE
    assert found.told == "the spoken prompts lack score: what holds such a word is a tone."


def test_a_synonym_leaves_the_read_back_as_it_was(own: Path, change: Change) -> None:
    """What stands first is said; what is added behind it is only heard."""
    change("numbers.gram", "= twenty {whole += 20}", "= (twenty | score) {whole += 20}")
    assert prompts_finding(own).mark is Mark.OK


def test_a_broken_certainty_means_more_questions(own: Path) -> None:
    """The careful limits hold, a line says why, and the voice stays."""
    (own / "certainty.toml").write_text("[coefficients]\n", encoding="utf-8")
    found = list(pack_findings(own, None, own=True))
    assert lines(found, Mark.FAILED) == []
    (told,) = lines(found, Mark.NOTE)
    assert told.startswith("certainty.toml lacks intercept. More calls than needed")
    assert certainty_of(chosen_pack(own)) is None


@pytest.mark.parametrize(
    ("damage", "told"),
    [
        (lambda _: None, "There is no model folder at"),
        (lambda model: model.mkdir(), "lacks am/final.mdl"),
        (
            lambda model: (
                shutil.copytree(default_pack().model, model),
                (model / "am" / "final.mdl").write_bytes(b"\0B<TransitionModel> nothing"),
            ),
            "final.mdl is damaged",
        ),
    ],
    ids=["none", "empty", "damaged"],
)
@pytest.mark.parametrize("with_a_mistake", [False, True])
def test_a_broken_model(
    own: Path, damage: Callable[[Path], object], told: str, with_a_mistake: bool
) -> None:
    """It is told whether or not the words are in order."""
    (own / "model").unlink()
    damage(own / "model")
    if with_a_mistake:
        (own / "sites.gram").write_text("nothing", encoding="utf-8")
    found = list(pack_findings(own, None, own=True))
    wrong = lines(found, Mark.FAILED)
    assert any(told in each for each in wrong)
    assert any("is refused by every command: 1 fault above." in one for one in wrong) == (
        with_a_mistake
    )


def test_a_folder_without_a_pack(tmp_path: Path) -> None:
    """It is told plainly, and what to name."""
    assert (
        "holds no *.gram file. Name a folder that 'foldcall phrases --copy' made."
        in (failed(tmp_path)[0])
    )
    with pytest.raises(CaptureError, match="cannot be used: There is no language pack"):
        chosen_pack(tmp_path / "nowhere")


def test_the_program_needs_no_rule_that_its_own_pack_lacks(pack: Pack) -> None:
    """And every state of a visit is among the rules that it needs."""
    assert set(NEEDED) <= set(pack.grammar.rules)
    assert faults_of(pack.folder) == ()
    assert listening_rule.__name__ == "listening_rule"
    assert [each.value for each in Permission] == ["clothing", "marks", "touch"]


# Which pack is used.


def settings(text: str, folder: Path) -> object:
    """The settings of a text, as if they lay in a folder."""
    return parse_settings(text, str(folder / "settings.toml"))


@pytest.mark.parametrize(
    ("given", "text", "found"),
    [
        (None, "", None),
        (None, '[language]\npack = "own"', "own"),
        (None, '[language]\npack = "en"', None),
        ("en", '[language]\npack = "own"', None),
        ("other", '[language]\npack = "own"', "other"),
    ],
)
def test_the_command_line_goes_before_the_settings(
    tmp_path: Path, given: str | None, text: str, found: str | None
) -> None:
    """A folder of the settings is looked for beside them; "en" is the program's own pack."""
    place = own_folder(None if given is None else Path(given), settings(text, tmp_path))
    if found == "own":
        assert place == tmp_path / "own"
    else:
        assert place == (None if found is None else Path(found))


@pytest.mark.parametrize("text", ["pack = 7", 'pack = " "', 'pakc = "own"', 'pack = "a\\u0000b"'])
def test_a_wrong_setting_is_told(tmp_path: Path, text: str) -> None:
    """With the table and what to write."""
    with pytest.raises(SettingsError, match=r"\[language\]"):
        own_folder(None, settings(f"[language]\n{text}", tmp_path))


def test_a_copy_overwrites_nothing(
    tmp_path: Path, pack: Pack, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is whole, and its name must be new."""
    target = tmp_path / "deep" / "own"
    copy_pack(target)
    for file in pack.folder.rglob("*"):
        if file.is_file():
            assert (target / file.relative_to(pack.folder)).read_bytes() == file.read_bytes()
    (target / "sites.gram").write_text("mine", encoding="utf-8")
    assert main(["phrases", "--copy", str(target)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert (target / "sites.gram").read_text(encoding="utf-8") == "mine"


def test_a_copy_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    """Half a pack must not look like one."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(CaptureError, match="cannot be written"):
        copy_pack(tmp_path / "file" / "own")
    assert [each.name for each in tmp_path.iterdir()] == ["file"]
