"""A language pack on disk."""

import os
from pathlib import Path

import pytest

from capture.errors import CaptureError
from capture.language.jsgf import GrammarError
from capture.pack import Pack, open_pack
from capture.recognise.lexicon import parse_lexicon

GRAMMAR = "#JSGF V1.0 UTF-8 en;\ngrammar a;\npublic <x> = nought;\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A pack with one grammar file."""
    (tmp_path / "a.gram").write_text(GRAMMAR, encoding="utf-8")
    return tmp_path


def test_all_grammar_files_are_read(folder: Path) -> None:
    """Every file that ends in .gram belongs to the pack, and nothing else does."""
    (folder / "b.gram").write_text(
        "#JSGF V1.0 UTF-8 en;\ngrammar b;\nimport <a.x>;\npublic <y> = <x>;\n", encoding="utf-8"
    )
    (folder / "notes.txt").write_text("no grammar", encoding="utf-8")
    opened = open_pack(folder)
    assert opened.grammar.rules == ("a.x", "b.y")
    assert opened.model == folder / "model"


def test_words_beyond_ascii(folder: Path) -> None:
    """A pack in another language may use its own letters."""
    text = GRAMMAR.replace("nought", "zwölf")
    (folder / "a.gram").write_text(text, encoding="utf-8")
    assert open_pack(folder).grammar.words == {"zwölf"}


@pytest.mark.parametrize("name", ["", "missing"])
def test_a_folder_without_grammar_is_no_pack(tmp_path: Path, name: str) -> None:
    """An empty or missing folder is told with what to name instead."""
    with pytest.raises(CaptureError, match=r"no \*\.gram file") as caught:
        open_pack(tmp_path / name)
    assert caught.value.hint


def test_a_file_in_another_encoding(folder: Path) -> None:
    """A file that is not UTF-8 is told by name and byte."""
    (folder / "a.gram").write_bytes(GRAMMAR.replace("nought", "zw\xf6lf").encode("latin-1"))
    place = GRAMMAR.index("nought") + 2
    with pytest.raises(GrammarError, match=rf"^a\.gram: byte {place} is not UTF-8"):
        open_pack(folder)


def test_a_mistake_names_its_file(folder: Path) -> None:
    """Of several files, the one with the mistake is named, without its folder."""
    (folder / "b.gram").write_text("grammar b;", encoding="utf-8")
    with pytest.raises(GrammarError, match=r"^b\.gram:1:1: "):
        open_pack(folder)


def test_something_that_cannot_be_read(folder: Path) -> None:
    """A folder in the place of a file is an error for a person, not a traceback."""
    (folder / "b.gram").mkdir()
    with pytest.raises(CaptureError, match=r"file b\.gram cannot be read") as caught:
        open_pack(folder)
    assert os.strerror(0) not in caught.value.message


def test_missing_pronunciations(folder: Path) -> None:
    """A pack without pronunciations opens; asking for them is told plainly."""
    with pytest.raises(CaptureError, match=r"pronunciations\.dict cannot be read"):
        open_pack(folder).pronunciations()


def test_the_english_pack_can_say_all_its_words(pack: Pack) -> None:
    """Every word of every public rule has a pronunciation."""
    assert parse_lexicon(pack.pronunciations()).missing(pack.grammar.words) == ()
