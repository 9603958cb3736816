"""The command `foldcall`: arguments in, exit codes out, and errors turned into words.

Exit codes: 0 done, 1 failed, 2 called wrongly.
"""

import argparse
import errno
import shutil
import sys
import textwrap
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from capture import __version__
from capture.arguments import Arguments
from capture.backing_up import add_commands as add_backups
from capture.calipers import add_command as add_caliper
from capture.check import add_command as add_check
from capture.clients import add_command as add_clients
from capture.compute import add_command as add_compute
from capture.encrypting import add_commands as add_encrypting
from capture.errors import CaptureError, MisuseError
from capture.measure import add_command as add_measure
from capture.merge import add_command as add_merge
from capture.mishap import mishap_lines
from capture.packs import chosen_pack, pack_option
from capture.phrases import add_command as add_phrases
from capture.protocols import add_command as add_protocol
from capture.reporting import add_command as add_report
from capture.review import add_command as add_review
from capture.settings_file import read_settings, settings_path
from capture.tape import add_command as add_tape
from capture.terminal import show, show_json
from capture.transfer import add_commands as add_transfer

TEXT_COLUMN = 17
"""Where the text of a line begins, after its time and its mark."""

_NO_PATH = {errno.ENAMETOOLONG, errno.ELOOP}

FAILED, MISUSED, INTERRUPTED = 1, 2, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code."""
    with _quiet_mishaps():
        return _run(arguments)


def _run(arguments: Sequence[str] | None) -> int:
    try:
        parser = command_parser()
        chosen = parser.parse_args(arguments)
        command: Callable[[argparse.Namespace], int] | None = getattr(chosen, "command", None)
        if command is None:
            parser.print_help()
            return 0
        return command(chosen)
    except CaptureError as error:
        _complain(error)
        return MISUSED if isinstance(error, MisuseError) else FAILED
    except KeyboardInterrupt:
        show("Interrupted. What was confirmed is saved.", error=True)
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has gone; that is no failure of ours.
        sys.stderr.close()
        return 0
    except Exception as error:
        if isinstance(error, OSError) and error.errno in _NO_PATH:
            # Wherever a path is first looked at: `exists` and `is_dir` raise for these too.
            _complain(CaptureError(f"A path cannot be used: {error.strerror}.", "Give another."))
        else:
            show(*mishap_lines(error), error=True)
        return FAILED


@contextmanager
def _quiet_mishaps() -> Iterator[None]:
    """Have errors of other threads told as ours are: Python's own traceback holds values."""
    thread_hook, late_hook = threading.excepthook, sys.unraisablehook

    def in_a_thread(found: threading.ExceptHookArgs) -> None:
        if found.exc_value is not None:
            show(*mishap_lines(found.exc_value), error=True)

    def too_late(found: "sys.UnraisableHookArgs") -> None:
        if found.exc_value is not None:
            show(*mishap_lines(found.exc_value), error=True)

    threading.excepthook, sys.unraisablehook = in_a_thread, too_late
    try:
        yield
    finally:
        threading.excepthook, sys.unraisablehook = thread_hook, late_hook


def _complain(error: CaptureError) -> None:
    show(f"foldcall: {error}", error=True)


def command_parser() -> argparse.ArgumentParser:
    """All commands with their arguments."""
    parser: argparse.ArgumentParser = Arguments(
        prog="foldcall",
        description="Skinfold readings by voice and keypad, offline, read back before they count.",
    )
    parser.add_argument("--version", action="version", version=f"foldcall {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    demo = commands.add_parser("demo", help="play a recorded visit through the real recogniser")
    demo.add_argument(
        "--speed",
        metavar="N",
        default=None,
        help="times faster than real time, or 'max' (default: 1 on a terminal, else max)",
    )
    demo.add_argument("--store", metavar="FILE", type=Path, help="where the visit is saved")
    demo.add_argument(
        "--from", dest="folder", metavar="FOLDER", type=Path, help="another recording"
    )
    pack_option(demo)
    _model_option(demo)
    demo.set_defaults(command=_demo)

    listen = commands.add_parser("listen", help="print what is understood in sound files, as JSON")
    listen.add_argument("files", metavar="FILE", nargs="+", type=Path, help="WAV, FLAC or OGG")
    listen.add_argument(
        "--as",
        dest="rule",
        metavar="STATE",
        default="anything",
        help="the state of the visit, see 'foldcall phrases' (default: anything)",
    )
    pack_option(listen)
    _model_option(listen)
    listen.set_defaults(command=_listen)

    add_phrases(commands)
    add_compute(commands)
    add_review(commands)
    add_transfer(commands)
    add_clients(commands)
    add_merge(commands)
    add_backups(commands)
    add_encrypting(commands)
    add_report(commands)
    add_tape(commands)
    add_caliper(commands)
    add_protocol(commands)
    add_check(commands)
    add_measure(commands)
    return parser


def _model_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--model", metavar="DIR", type=Path, help="another Vosk model folder to listen with"
    )


def _demo(chosen: argparse.Namespace) -> int:
    from capture.demo import run_demo
    from capture.resources import data_folder
    from capture.store import default_store_path

    speed = _speed(chosen.speed)
    store = chosen.store or default_store_path().with_name("demo.db")
    end = run_demo(
        chosen.folder or data_folder("demo_audio"),
        chosen_pack(chosen.pack),  # whatever the settings say: the recording is English
        store,
        _line_writer(),
        speed,
        chosen.model,
    )
    show(f"Visit {end.visit_id} is in {end.store}.")
    show(f"{end.recording_s:.0f} s of visit in {end.took_s:.1f} s.")
    return 0


def _line_writer() -> Callable[[str], None]:
    """Print lines; on a terminal, long ones go on below their own text."""
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None

    def write(line: str) -> None:
        if width is not None and len(line) > width > 2 * TEXT_COLUMN:
            line = textwrap.fill(line, width, subsequent_indent=" " * TEXT_COLUMN)
        show(*line.split("\n"))

    return write


def _speed(given: str | None) -> float | None:
    if given is None:
        return 1.0 if sys.stdout.isatty() else None
    if given == "max":
        return None
    try:
        speed = float(given)
    except ValueError:
        speed = 0.0
    if not 0.1 <= speed <= 1000:
        raise MisuseError(
            f"--speed {given} is no speed.", "Give a number from 0.1 to 1000, or max."
        )
    return speed


def _listen(chosen: argparse.Namespace) -> int:
    from capture.language.grammar import LISTENING
    from capture.listen import listen

    pack = chosen_pack(chosen.pack, read_settings(settings_path()))
    rules = [rule.removeprefix(LISTENING) for rule in pack.grammar.rules if LISTENING in rule]
    if chosen.rule not in rules:
        raise MisuseError(f"There is no state '{chosen.rule}'.", f"Choose of: {', '.join(rules)}.")
    code = 0
    for _, opened, calls in listen(chosen.files, pack, chosen.rule, chosen.model):
        if isinstance(opened, CaptureError):
            _complain(opened)
            code = FAILED
        elif opened.note:
            show(f"foldcall: {opened.note}", error=True)
        for call in calls:
            show_json(call)
    return code
