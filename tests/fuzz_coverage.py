"""Fuzzes the readers of text and sound by coverage, where atheris is installed.

    pip install atheris
    python tests/fuzz_coverage.py [--seconds N] [READER ...]

Atheris looks which branches an input reaches and keeps those that reach new ones. Each reader runs
in a process of its own; it begins from good files. An exception other than a `CaptureError`
ends it with the input. Prints how many inputs each reader had.
"""

import argparse
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))
SECONDS = 60


def readers() -> dict[str, tuple[Callable[[bytes], object], list[Path]]]:
    """Each reader of bytes, and good files to begin from."""
    import atheris

    with atheris.instrument_imports(include=["capture"]):
        from capture.errors import CaptureError
        from capture.exchange.document import read_document
        from capture.exchange.table_read import read_table
        from capture.language.grammar import Grammar
        from capture.protocol.reading import read_protocol
        from capture.recognise.certainty import parse_certainty
        from capture.recognise.lexicon import parse_lexicon
        from capture.sound.wav import open_sound
        from capture.units import tape_length

    def of_text(read: Callable[[str], object]) -> Callable[[bytes], object]:
        def give(data: bytes) -> object:
            try:
                return read(data.decode("utf-8", "replace"))
            except CaptureError:
                return None

        return give

    sound = Path(tempfile.mkdtemp()) / "a.wav"

    def of_sound(data: bytes) -> object:
        sound.write_bytes(data)
        try:
            return sum(map(len, open_sound(sound).blocks()))
        except CaptureError:
            return None

    pack = ROOT / "grammars/en"
    return {
        "jsgf": (of_text(lambda text: Grammar({"a.gram": text})), sorted(pack.glob("*.gram"))),
        "protocol": (
            of_text(lambda text: read_protocol(text, "p.toml")),
            sorted((ROOT / "capture/protocol/data").glob("*.toml")),
        ),
        "certainty": (of_text(parse_certainty), [pack / "certainty.toml"]),
        "pronunciations": (of_text(parse_lexicon), [pack / "pronunciations.dict"]),
        "json": (of_text(read_document), []),
        "csv": (of_text(read_table), []),
        "sound": (of_sound, sorted((ROOT / "demo_audio").glob("turn_0[1-3].flac"))),
        "length": (of_text(tape_length), []),
    }


def fuzz(name: str, seconds: int) -> None:
    """Fuzz one reader in this process; ends it."""
    import atheris

    give, seeds = readers()[name]
    corpus = Path(tempfile.mkdtemp())
    for number, seed in enumerate(seeds):
        (corpus / str(number)).write_bytes(seed.read_bytes()[:20_000])
    options = [f"-max_total_time={seconds}", "-timeout=5", "-max_len=20000", "-print_final_stats=1"]
    atheris.Setup([sys.argv[0], *options, str(corpus)], give)
    atheris.Fuzz()


def main() -> int:
    """Fuzz each reader in turn."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", metavar="READER", nargs="*")
    parser.add_argument("--seconds", type=int, default=SECONDS, help="for each reader")
    parser.add_argument("--in-this-process", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    try:
        import atheris  # noqa: F401
    except ImportError:
        print("atheris is not installed: nothing was tried.")
        return 0
    if chosen.in_this_process:
        fuzz(chosen.names[0], chosen.seconds)
        return 0
    failed = 0
    for name in chosen.names or list(readers()):
        ran = subprocess.run(
            [sys.executable, __file__, "--in-this-process", f"--seconds={chosen.seconds}", name],
            capture_output=True,
            text=True,
            errors="replace",
            check=False,
            cwd=tempfile.mkdtemp(),
        )
        found = re.search(r"number_of_executed_units: *(\d+)", ran.stderr)
        print(f"{found[1] if found else '?':>9}  {name}", flush=True)
        if ran.returncode:
            failed += 1
            print(ran.stdout[-1500:], ran.stderr[-1500:])
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
