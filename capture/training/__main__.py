"""Make the acoustic model of the English pack: ``python -m capture.training STAGE``.

Stages, in order (``--out DIR`` is the working folder, ``--seed`` makes every draw repeatable):

``speak``     let the voices speak the corpus into DIR/speech and the held-out voices into DIR/test
``train``     train on DIR/speech; writes DIR/network.pt and DIR/acoustic.npz
``export``    write DIR/acoustic.npz again from DIR/network.pt
``average``   write DIR/acoustic.npz as the mean of the networks after ``--of``, all relatives; of
              ``network.pt`` files DIR/network.pt as well
``steady``    let cloth and breath over a sound change nothing: goes on from ``--start-from``, a
              network.pt, and writes DIR/network.pt and DIR/acoustic.npz
``evaluate``  hear DIR/test with DIR/acoustic.npz in the stock decoder; writes DIR/figures.json

Needed: the extra ``train``; the programs flite, espeak-ng and festival with the voices kal, ked and
slt-hts; ``--people``, a folder of recorded digits named ``digit_person_take.wav``; ``--styles``,
the folder ``voices`` of npm's kokoro-js; node and ``--gnuspeech``, the folder of npm's
``@echogarden/gnuspeech-wasm``. Kokoro speaks about as fast as it is heard on one core that it has
to itself; ``--part NAME`` lets several runs speak side by side. ``train`` keeps the network every
hundred steps, and goes on from a network or from a model that ships with ``--start-from``. The
version that ships took four hours of large graphics cards in eighteen runs, many side by side (its
card tells them), the longest 8,400 steps; one core would take weeks.

What a run should reach (quiet, filler cost 2.5): the held-out natural voices 97 % of calls word for
word, the formant voices above 98 %, the digits of the held-out person 95 %.
"""

import argparse
import sys
from collections.abc import Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from capture.recognise.acoustic import Network
    from capture.training.lexicon import Lexicon
    from capture.training.train import Speech, Trainer

ENGINES = (
    "hibari",
    "flite",
    "espeak",
    "festival",
    "kokoro",
    "rhvoice",
    "pico",
    "gnuspeech",
    "people",
)
PRONUNCIATIONS = Path(__file__).parents[2] / "grammars" / "en" / "pronunciations.dict"


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m capture.training", description=__doc__.split("\n")[0]
    )
    parser.add_argument("stage", choices=tuple(STAGES))
    parser.add_argument("--out", type=Path, required=True, help="working folder")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--pronunciations", type=Path, default=PRONUNCIATIONS)
    parser.add_argument("--people", type=Path, help="folder of recorded digits (speak)")
    parser.add_argument("--styles", type=Path, help="folder of Kokoro's style files (speak)")
    parser.add_argument("--gnuspeech", type=Path, help="folder of npm's gnuspeech-wasm (speak)")
    parser.add_argument("--part", default="", help="name of one run of several at once (speak)")
    parser.add_argument(
        "--engine", action="append", choices=(*ENGINES, "test"), help="only these (speak)"
    )
    parser.add_argument("--seconds", type=float, help="most speech of one engine (speak)")
    parser.add_argument(
        "--speech", type=Path, help="corpus folder if not OUT/speech (train, steady, average)"
    )
    parser.add_argument("--steps", type=int, default=6000, help="training steps (train, steady)")
    parser.add_argument("--limit-seconds", type=float, help="stop training by then (train, steady)")
    parser.add_argument("--width", type=int, default=352, help="units of a hidden layer (train)")
    parser.add_argument(
        "--start-from", type=Path, help="network.pt or, to train, a model's final.mdl to go on from"
    )
    parser.add_argument(
        "--peak-rate", type=float, default=2e-3, help="highest learning rate (train, steady)"
    )
    parser.add_argument(
        "--set",
        type=_setting,
        action="append",
        default=[],
        metavar="NAME=NUMBER",
        help="another number of `Settings`, such as hidden_share=0.6 (train, steady)",
    )
    parser.add_argument(
        "--of",
        type=Path,
        nargs="+",
        help="acoustic.npz or final.mdl of each, or network.pt of runs that began alike (average)",
    )
    parser.add_argument(
        "--silence-bonus", type=float, default=0.0, help="raises the score of silence (average)"
    )
    parser.add_argument("--at-most", type=int, help="phrases of each test set (evaluate)")
    return parser


def _setting(text: str) -> tuple[str, float]:
    name, _, number = text.partition("=")
    return name, float(number)


def _speak(arguments: argparse.Namespace) -> None:
    from capture.training.speak import Sources, speak_tests, speak_training

    if arguments.people is None:
        raise SystemExit("speak needs --people, a folder of recorded digits")
    sources = Sources(arguments.people, arguments.styles, arguments.gnuspeech)
    for engine in arguments.engine or (*ENGINES, "test"):
        if engine == "test":
            speak_tests(arguments.out / "test", arguments.pronunciations, sources, arguments.seed)
            continue
        seconds = speak_training(
            arguments.out / "speech",
            engine,
            arguments.pronunciations,
            sources,
            arguments.seed,
            arguments.seconds,
            arguments.part,
        )
        print(f"{engine}: {seconds:.0f} s", flush=True)


def _corpus(arguments: argparse.Namespace) -> "tuple[Speech, Lexicon]":
    """Load the corpus onto the card, or into memory where there is none."""
    import torch

    from capture.training.speak import full_lexicon
    from capture.training.train import load_speech

    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    lexicon = full_lexicon(arguments.pronunciations)
    speech = load_speech(arguments.speech or arguments.out / "speech", lexicon, device)
    print(
        f"{len(speech.texts)} phrases, {len(speech.pool) / 57.6e6:.2f} h, on {device}", flush=True
    )
    return speech, lexicon


def _train(arguments: argparse.Namespace) -> None:
    import torch

    from capture.training.model_file import width_of
    from capture.training.train import Settings, Trainer, examples, load_state, save_state
    from capture.training.unfold import BATCHES, unfold

    torch.backends.cuda.matmul.allow_tf32 = True
    speech, lexicon = _corpus(arguments)
    start = arguments.start_from
    shipped = start is not None and start.suffix == ".mdl"
    settings = Settings(
        seed=arguments.seed,
        steps=arguments.steps,
        width=width_of(start) if shipped else arguments.width,
        peak_rate=arguments.peak_rate,
        limit_seconds=arguments.limit_seconds,
        warm_up_steps=0 if start else 300,
        **dict(arguments.set),
    )
    trainer = Trainer(speech, lexicon, settings)
    if shipped:
        batches = examples(speech, settings, trainer.rng)
        sounds = [trainer.cepstra(batch) for batch in islice(batches, BATCHES)]
        unfold(start, trainer.network, sounds)
    elif start:
        trainer.network.load_state_dict(load_state(start, trainer.device).network)

    def report(line: str) -> None:
        print(line, flush=True)
        save_state(trainer, arguments.out / "network.pt")

    seconds = trainer.run(report)
    trainer.settle_norms()
    _keep(trainer, seconds, arguments.out)


def _keep(trainer: "Trainer", seconds: float, out: Path) -> None:
    """Write the trained network twice: to train on, and for the decoder."""
    from capture.training.network import save_export
    from capture.training.train import save_state

    save_state(trainer, out / "network.pt")
    facts = {**trainer.facts(), "training_seconds": round(seconds)}
    save_export(trainer.network, out / "acoustic.npz", facts)


def _export(arguments: argparse.Namespace) -> None:
    from capture.training.network import Network, save_export
    from capture.training.train import load_state

    kept = load_state(arguments.out / "network.pt", "cpu")
    network = Network(kept.width)
    network.load_state_dict(kept.network)
    save_export(network, arguments.out / "acoustic.npz", kept.facts)


def _average(arguments: argparse.Namespace) -> None:
    from capture.training.average import mean, preferring_silence
    from capture.training.model_file import read, write
    from capture.training.network import LAYERS

    if not arguments.of:
        raise SystemExit("average needs --of, the files of the networks")
    offsets = [*(offsets for offsets, _ in LAYERS), (0,)]
    networks = [read(path, offsets) for path in arguments.of if path.suffix != ".pt"]
    if states := [path for path in arguments.of if path.suffix == ".pt"]:
        networks.append(_settled(states, arguments))
    network = preferring_silence(mean(networks), arguments.silence_bonus)
    facts = {"mean_of": len(networks), "silence_bonus": arguments.silence_bonus}
    write(network, arguments.out / "acoustic.npz", facts)


def _settled(states: Sequence[Path], arguments: argparse.Namespace) -> "Network":
    """Give the mean of runs that began alike, its norms measured anew on the corpus."""
    from capture.training.network import exported
    from capture.training.train import Settings, Trainer, load_state, mean_state, save_state

    speech, lexicon = _corpus(arguments)
    kept = [load_state(path, speech.pool.device) for path in states]
    trainer = Trainer(speech, lexicon, Settings(seed=arguments.seed, width=kept[0].width))
    trainer.network.load_state_dict(mean_state([each.network for each in kept]))
    trainer.settle_norms()
    save_state(trainer, arguments.out / "network.pt")
    return exported(trainer.network)


def _evaluate(arguments: argparse.Namespace) -> None:
    from capture.training.evaluate import evaluate

    for line in evaluate(
        arguments.out, arguments.pronunciations, arguments.seed, arguments.at_most
    ):
        print(line, flush=True)


def _steady(arguments: argparse.Namespace) -> None:
    from capture.training.steady import steady
    from capture.training.train import Settings, Trainer, load_state

    if arguments.start_from is None:
        raise SystemExit("steady needs --start-from, the network.pt to go on from")
    speech, lexicon = _corpus(arguments)
    kept = load_state(arguments.start_from, speech.pool.device)
    settings = Settings(
        seed=arguments.seed,
        steps=arguments.steps,
        width=kept.width,
        peak_rate=arguments.peak_rate,
        limit_seconds=arguments.limit_seconds,
        **dict(arguments.set),
    )
    trainer = Trainer(speech, lexicon, settings)
    trainer.network.load_state_dict(kept.network)
    seconds = steady(trainer, lambda line: print(line, flush=True))
    _keep(trainer, seconds, arguments.out)


STAGES = {
    "speak": _speak,
    "train": _train,
    "export": _export,
    "average": _average,
    "steady": _steady,
    "evaluate": _evaluate,
}


def main() -> int:
    """Run one stage."""
    arguments = _parser().parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    STAGES[arguments.stage](arguments)
    return 0


if __name__ == "__main__":
    sys.exit(main())
