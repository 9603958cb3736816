"""The acoustic model's arrays, the shipped folder and the folders that the decoder loads."""

import stat
import struct
import sys
from pathlib import Path

import numpy as np
import pytest

from capture.recognise.acoustic import ModelError, model_bytes, read_network
from capture.recognise.automaton import WordArc, WordAutomaton
from capture.recognise.graph import build_graph
from capture.recognise.lexicon import parse_lexicon
from capture.recognise.model_folder import (
    check_model_folder,
    runtime_folder,
    write_model_folder,
)

GRAPH = build_graph(
    WordAutomaton(0, {1: 0.0}, [WordArc(0, "no", 0.0, 1)]), parse_lexicon("no  N OW")
)


def arrays(**changed: object) -> dict[str, np.ndarray]:
    """A network of one layer, all zero; an entry given as None is left out."""
    made: dict[str, object] = {
        "count": 1,
        "offsets_0": [-1, 0, 1],
        "weight_0": np.zeros((40, 120), "f4"),
        "bias_0": np.zeros(40, "f4"),
        "relu_0": 0,
        "meta": '{"seed": 3}',
    } | changed
    return {name: np.asarray(value) for name, value in made.items() if value is not None}


@pytest.fixture
def model_dir(tmp_path: Path) -> Path:
    """A shipped folder with a network that knows nothing."""
    np.savez(tmp_path / "acoustic.npz", **arrays())
    write_model_folder(tmp_path / "acoustic.npz", tmp_path / "model")
    return tmp_path / "model"


def test_the_arrays_are_read(tmp_path: Path) -> None:
    """Layers, offsets and the note about training come out of the file."""
    np.savez(tmp_path / "acoustic.npz", **arrays(priors=np.full(40, 0.025)))
    network = read_network(tmp_path / "acoustic.npz")
    assert network.layers[0].offsets == (-1, 0, 1)
    assert not network.layers[0].relu
    assert network.meta == {"seed": 3}
    assert network.priors is not None


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"bias_0": None}, "lacks an array: bias_0"),
        ({"count": None}, "lacks an array: count"),
        ({"count": 0}, "has no layers"),
        ({"offsets_0": [0]}, r"layer 0 takes \(40, 120\), not \(any, 40\)"),
        ({"offsets_0": [1, 0, -1]}, "ascending"),
        ({"weight_0": np.zeros((39, 120), "f4"), "bias_0": np.zeros(39)}, "gives 39 scores"),
        ({"bias_0": np.zeros(39, "f4")}, "biases"),
        ({"weight_0": np.full((40, 120), np.nan, "f4")}, "not a number"),
        ({"priors": np.zeros(40, "f4")}, "positive"),
        ({"priors": np.ones(39, "f4")}, "40 positive"),
        ({"meta": "not json"}, "cannot be read"),
        ({"count": np.array([None])}, "cannot be read"),
    ],
    ids=[
        "no biases",
        "no count",
        "no layers",
        "too wide",
        "descending",
        "39 outputs",
        "39 biases",
        "nan",
        "zero priors",
        "39 priors",
        "note not json",
        "pickled",
    ],
)
def test_unfit_arrays_are_refused(tmp_path: Path, changed: dict, told: str) -> None:
    """Arrays that do not fit our features and phones never become a model."""
    np.savez(tmp_path / "acoustic.npz", **arrays(**changed))
    with pytest.raises(ModelError, match=told):
        write_model_folder(tmp_path / "acoustic.npz", tmp_path / "model")
    assert not (tmp_path / "model").exists()


@pytest.mark.parametrize("content", [None, b"", b"not arrays", b"PK\x03\x04broken"], ids=repr)
def test_no_arrays_at_all(tmp_path: Path, content: bytes | None) -> None:
    """A missing file, or one that is something else, gives one clear error."""
    if content is not None:
        (tmp_path / "acoustic.npz").write_bytes(content)
    with pytest.raises(ModelError, match="acoustic") as raised:
        read_network(tmp_path / "acoustic.npz")
    assert raised.value.hint


def test_the_model_file_has_its_parts_in_order(tmp_path: Path) -> None:
    """157 phones with two transitions each, then the network, then the priors."""
    np.savez(tmp_path / "acoustic.npz", **arrays(priors=np.full(40, 0.025)))
    content = model_bytes(read_network(tmp_path / "acoustic.npz"))
    tokens = [
        b"\0B<TransitionModel> <Topology> ",
        b"</Topology> <Triples> " + struct.pack("<bi", 4, 157),
        b"</Triples> <LogProbs> FV " + struct.pack("<bi", 4, 2 * 157 + 1),
        b"</LogProbs> </TransitionModel> <Nnet3> \n",
        b"input=Append(Offset(input, -1), input, Offset(input, 1))\n",
        b"<NumComponents> " + struct.pack("<bi", 4, 2),
        b"<LinearParams> CM2 ",
        b"<LogSoftmaxComponent> <Dim> " + struct.pack("<bi", 4, 40),
        b"</Nnet3> ",
        b"<Priors> FV " + struct.pack("<bi", 4, 40),
    ]
    places = [content.find(token) for token in tokens]
    assert -1 not in places
    assert places == sorted(places)
    header = struct.unpack_from("<ffii", content, content.index(b"CM2 ") + 4)
    assert header[2:] == (40, 120)


def test_without_priors_scores_are_taken_as_they_are(tmp_path: Path) -> None:
    """No normalisation is added and the list of priors is empty."""
    np.savez(tmp_path / "acoustic.npz", **arrays())
    content = model_bytes(read_network(tmp_path / "acoustic.npz"))
    assert b"LogSoftmax" not in content
    assert content.endswith(b"<Priors> FV " + struct.pack("<bi", 4, 0))


def test_the_shipped_folder_is_complete(model_dir: Path) -> None:
    """The folder passes its own check and has no graph."""
    check_model_folder(model_dir)
    assert not (model_dir / "graph").exists()


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("am/final.mdl", None, "lacks am/final.mdl"),
        ("conf/mfcc.conf", None, "lacks conf/mfcc.conf"),
        ("conf/model.conf", None, "lacks conf/model.conf"),
        ("phones.txt", None, "lacks phones.txt"),
        ("am/final.mdl", b"version https://example.invalid/pointer", "not an acoustic model"),
        ("am/final.mdl", b"", "not an acoustic model"),
        ("am/final.mdl.sha256", None, "lacks am/final.mdl.sha256"),
        ("phones.txt", b"SIL 1\n", "other phones"),
        ("conf/mfcc.conf", b"--num-ceps=13\n", "other features"),
    ],
    ids=[
        "model",
        "features",
        "options",
        "phones",
        "pointer",
        "empty",
        "digest",
        "phone set",
        "feature set",
    ],
)
def test_an_incomplete_folder_is_refused(
    model_dir: Path, name: str, content: bytes | None, told: str
) -> None:
    """The error says which file is missing or foreign, and what to do."""
    if content is None:
        (model_dir / name).unlink()
    else:
        (model_dir / name).write_bytes(content)
    with pytest.raises(ModelError, match=told) as raised, runtime_folder(model_dir, GRAPH):
        pass
    assert raised.value.hint


def test_one_wrong_byte_is_noticed(model_dir: Path) -> None:
    """A damaged model never reaches the decoder, which could end the process over it."""
    path = model_dir / "am" / "final.mdl"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    with pytest.raises(ModelError, match=r"final\.mdl is damaged"):
        check_model_folder(model_dir)


def test_line_ends_of_a_checkout_do_not_matter(model_dir: Path) -> None:
    """A folder whose text files came with other line ends is loaded with the usual ones."""
    for name in ("conf/mfcc.conf", "conf/model.conf", "phones.txt", "am/final.mdl.sha256"):
        path = model_dir / name
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    with runtime_folder(model_dir, GRAPH) as folder:
        assert b"\r" not in (folder / "conf" / "model.conf").read_bytes()


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    """A path that does not exist is told as such."""
    with pytest.raises(ModelError, match="no model folder at"):
        check_model_folder(tmp_path / "elsewhere")


def test_the_runtime_folder_is_private_and_goes(model_dir: Path) -> None:
    """It holds the model and the graph, only its owner may look in, and nothing is left."""
    with runtime_folder(model_dir, GRAPH) as folder:
        files = {str(path.relative_to(folder).as_posix()) for path in folder.rglob("*.*")}
        assert files == {
            "am/final.mdl", "conf/mfcc.conf", "conf/model.conf",
            "graph/HCLG.fst", "graph/words.txt", "graph/phones/word_boundary.int",
        }  # fmt: skip
        assert (folder / "graph" / "HCLG.fst").read_bytes() == GRAPH.fst()
        if sys.platform != "win32":
            assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert not folder.exists()
    check_model_folder(model_dir)


def test_a_shipped_folder_may_be_read_only(model_dir: Path) -> None:
    """An installed package that cannot be written to still serves."""
    for path in model_dir.rglob("*"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    with runtime_folder(model_dir, GRAPH) as folder:
        assert (folder / "am" / "final.mdl").is_file()
    assert not folder.exists()
    for path in model_dir.rglob("*"):
        path.chmod(0o755 if path.is_dir() else 0o644)
