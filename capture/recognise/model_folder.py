"""The model on disk: the shipped folder, and the folders that the decoder loads.

`write_model_folder(npz_path, target_dir)` writes the shipped folder from the trained arrays:
am/final.mdl with its digest, conf/mfcc.conf, conf/model.conf and phones.txt. It has no graph.

`runtime_folder(model_dir, graph)` is a context manager: a private temporary folder with the same
am/ and conf/ and the graph of one context. The decoder reads it once, then it may go.
"""

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from capture.recognise.acoustic import FEATURE_COUNT, ModelError, model_bytes, read_network
from capture.recognise.graph import DecodingGraph
from capture.recognise.phones import SILENCE_ID, phones_text, word_boundary_text

MODEL_RATE_HZ = 16_000
"""The model hears up to 7.6 kHz. Audio of other rates is resampled by the decoder."""

_FEATURES = {
    "use-energy": "false",
    "sample-frequency": MODEL_RATE_HZ,
    "num-mel-bins": 40,
    "num-ceps": FEATURE_COUNT,
    "low-freq": 40,
    "high-freq": 7600,
    "dither": 0,
    "frame-length": 25,
    "frame-shift": 10,
    "allow-upsample": "true",
    "allow-downsample": "true",
}
"""Must equal the features of training, or the network hears something else."""

_DECODING = {
    "min-active": 200,
    "max-active": 1000,
    "beam": 12,
    # Wide enough to keep the runner-up: rivals down to e^-6 of the winner stay visible.
    "lattice-beam": 6,
    # The decoder's first of two passes over the lattice keeps apart every sequence of phones. With
    # a filler there are so many that noise took longer than real time; the result is the same.
    "phone-determinize": "false",
    # Below 1: the network is surer of each step than it is right, most of all in noise.
    "acoustic-scale": "0.7",
    # The decoder counts 30 ms a step whatever is written here; the network was trained so.
    "frame-subsampling-factor": 3,
    # Small chunks: the end of a call is noticed some 70 ms sooner on average than with 20.
    "frames-per-chunk": 6,
    "endpoint.silence-phones": SILENCE_ID,
    # Silence only: give up and begin anew.
    "endpoint.rule1.min-trailing-silence": 5.0,
    # A phrase that ends here / that may end here or go on / in the middle of a phrase. The first
    # two are told apart by the cost of open ends, see contexts.py.
    "endpoint.rule2.min-trailing-silence": 0.45,
    "endpoint.rule3.min-trailing-silence": 0.8,
    "endpoint.rule4.min-trailing-silence": 1.0,
    # In babble there is no silence at all; no call is this long.
    "endpoint.rule5.min-utterance-length": 10.0,
}

_NETWORK = "am/final.mdl"
_DIGEST = "am/final.mdl.sha256"
_OPTIONS = ("conf/mfcc.conf", "conf/model.conf")
_FILES = (_NETWORK, _DIGEST, *_OPTIONS, "phones.txt")
_MODEL_START = b"\0B<TransitionModel> "
_OWNER_ONLY = 0o700


def write_model_folder(npz_path: Path, target_dir: Path) -> None:
    """Write the shipped model folder from acoustic.npz; ModelError if the arrays do not fit."""
    content = model_bytes(read_network(npz_path))
    for name in ("am", "conf"):
        (target_dir / name).mkdir(parents=True, exist_ok=True)
    (target_dir / _NETWORK).write_bytes(content)
    _write(target_dir / _DIGEST, hashlib.sha256(content).hexdigest() + "\n")
    _write(target_dir / "conf" / "mfcc.conf", _options(_FEATURES))
    _write(target_dir / "conf" / "model.conf", _options(_DECODING))
    _write(target_dir / "phones.txt", phones_text())


def check_model_folder(model_dir: Path) -> None:
    """Raise ModelError, which names what is missing or foreign, unless the folder is ours."""
    hint = "Restore the folder from the distribution, or name another one."
    if not model_dir.is_dir():
        raise ModelError(f"There is no model folder at {model_dir}.", hint)
    if missing := [name for name in _FILES if not (model_dir / name).is_file()]:
        raise ModelError(f"The model folder {model_dir} lacks {', '.join(missing)}.", hint)
    content = (model_dir / _NETWORK).read_bytes()
    if not content.startswith(_MODEL_START):
        raise ModelError(f"{model_dir / _NETWORK} is not an acoustic model.", hint)
    digest = (model_dir / _DIGEST).read_text(encoding="utf-8").strip()
    if digest != hashlib.sha256(content).hexdigest():
        # The decoder ends the whole process over some wrong bytes, so they must not reach it.
        raise ModelError(f"{model_dir / _NETWORK} is damaged.", hint)
    if (model_dir / "phones.txt").read_text(encoding="utf-8") != phones_text():
        raise ModelError(f"The model in {model_dir} was made for other phones.", hint)
    features = (model_dir / "conf" / "mfcc.conf").read_text(encoding="utf-8").split()
    if sorted(features) != sorted(_options(_FEATURES).split()):
        raise ModelError(f"The model in {model_dir} was made for other features.", hint)


@contextmanager
def runtime_folder(model_dir: Path, graph: DecodingGraph) -> Iterator[Path]:
    """A temporary folder, readable by its owner alone, that the decoder can load.

    ModelError as `check_model_folder`, or when the folder cannot be written.
    """
    check_model_folder(model_dir)
    with tempfile.TemporaryDirectory(prefix="foldcall-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        folder.chmod(_OWNER_ONLY)
        try:
            _fill(folder, model_dir, graph)
        except OSError as error:
            raise ModelError(
                f"The recogniser's files cannot be written to {folder}: {error.strerror}.",
                "Free some space there, or set TMPDIR to another folder.",
            ) from error
        yield folder


def ascii_hint(path: Path) -> str:
    """Advice for a path that the decoder cannot open on Windows; empty for plain paths."""
    if os.name == "nt" and not str(path).isascii():
        return (
            f"The path {path} has letters outside ASCII: use a plain one; "
            "for temporary files set TMP to it."
        )
    return ""


def _fill(folder: Path, model_dir: Path, graph: DecodingGraph) -> None:
    for name in ("am", "conf", "graph", "graph/phones"):
        (folder / name).mkdir(mode=_OWNER_ONLY)
    _link_or_copy(model_dir / _NETWORK, folder / _NETWORK)
    for name in _OPTIONS:
        # Written anew: a checkout may have changed the line ends.
        _write(folder / name, (model_dir / name).read_text(encoding="utf-8"))
    (folder / "graph" / "HCLG.fst").write_bytes(graph.fst())
    _write(folder / "graph" / "words.txt", graph.words_text())
    _write(folder / "graph" / "phones" / "word_boundary.int", word_boundary_text())


def _link_or_copy(source: Path, target: Path) -> None:
    try:
        target.hardlink_to(source)
    except OSError:
        # Another disk, or a system without hard links.
        shutil.copyfile(source, target)


def _options(options: dict[str, object]) -> str:
    return "".join(f"--{name}={value}\n" for name, value in options.items())


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")
