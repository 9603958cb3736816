"""The command `foldcall review`: the end of the day, as lines or on the screen."""

import argparse
import sys
from collections.abc import Callable, Iterable
from contextlib import closing
from datetime import date

from capture.errors import CaptureError, MisuseError
from capture.recognise.quiet import native_messages
from capture.report.day import day_lines
from capture.reviewing import Review
from capture.settings_file import read_settings, settings_path
from capture.showable import cut, one_line
from capture.sound.kept import CallPlayer
from capture.sound.portaudio import PortAudio
from capture.sound.settings import read_sound_settings
from capture.terminal import show, show_progress
from capture.transfer import store_of, store_option
from capture.wiring import local_time

MOST_LISTED = 200
"""Lines of the list that are printed at once; 'find' narrows it."""

HELP = (
    "N                      open visit N of the list",
    "list                   back to the list",
    "find WORDS             only visits that hold these words; 'find' alone shows all",
    "amend NO. MM REASON    another value for a reading",
    "withdraw NO. REASON    a reading that is not to count",
    "undo                   take back your last amendment here",
    "play NO.               the sound of the call, where it was kept",
    "no sound               remove the kept sound of this visit",
    "sign NAME              sign the visit off",
    "by NAME                who you are, for amendments",
    "yes / no               answer what was read back",
    "quit                   end",
)


def add_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `review` to the commands of a parser."""
    parser = commands.add_parser("review", help="look over the day, amend and sign off")
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--date", metavar="YYYY-MM-DD", help="a day (default: the last one)")
    which.add_argument("--unsigned", action="store_true", help="all visits not signed off")
    which.add_argument("--all", action="store_true", help="every visit")
    parser.add_argument("--by", metavar="NAME", default="", help="who you are, for amendments")
    parser.add_argument("--plain", action="store_true", help="lines instead of the screen")
    store_option(parser)
    parser.set_defaults(command=run)


def run(chosen: argparse.Namespace) -> int:
    """Review; the exit code."""
    day = chosen.date
    if day is not None:
        day = _day(day)
    with store_of(chosen) as store:
        if not (chosen.all or chosen.unsigned) and day is None:
            newest = store.newest_visit()
            day = None if newest is None else store.visit(newest).started_at[:10]
        store.sweep_sounds(at=local_time())
        with closing(_Speaker()) as speaker:
            review = Review(
                store,
                local_time,
                by_name=chosen.by,
                date=day,
                unsigned=chosen.unsigned,
                player=speaker.play,
                busy=_busy,
            )
            if chosen.plain or not (sys.stdin.isatty() and sys.stdout.isatty()):
                run_lines(review, sys.stdin, show)
                return 0
            from capture.review_screen import run_screen  # noqa: PLC0415  # lines need none

            run_screen(review)
    return 0


def _busy(read: int, count: int) -> None:
    line = f"Reading {count:,} visits for the first time; this happens once."
    if read == 0 and not sys.stderr.isatty():
        show(line, error=True)
    show_progress(f"{line} {100 * read // count} %", done=read == count)


class _Speaker:
    """The speaker of the settings; nothing is opened or read before the first call is played."""

    def __init__(self) -> None:
        self._player: CallPlayer | None = None

    def play(self, flac: bytes) -> float:
        if self._player is None:
            settings = read_sound_settings(read_settings(settings_path()))
            self._player = CallPlayer(PortAudio(), settings.speaker, settings.volume)
        with native_messages():
            return self._player.play(flac)

    def close(self) -> None:
        if self._player is not None:
            self._player.close()


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise MisuseError(f"'{cut(text, 20)}' is no date.", "Write it as 2026-05-04.") from None


def run_lines(review: Review, lines: Iterable[str], write: Callable[[str], None]) -> None:
    """Take one command a line until "quit" or the end; every answer is lines too."""
    _show_list(review, write)
    for line in lines:
        words = line.split()
        if words[:1] in (["quit"], ["q"]):
            return
        try:
            for told in answer(review, line):
                write(told)
        except CaptureError as error:
            write(str(error))
    if review.pending is not None:
        write(review.drop())


def _show_list(review: Review, write: Callable[[str], None]) -> None:
    for told in _list(review):
        write(told)


def _list(review: Review) -> list[str]:
    rows = review.rows
    lines = day_lines(rows[:MOST_LISTED])
    if len(rows) > MOST_LISTED:
        lines.append(f"and {len(rows) - MOST_LISTED} more; 'find' narrows the list")
    if not rows:
        lines.append("No visit.")
    lines.append(f"{review.counted}. 'help' lists what may be typed.")
    return lines


def answer(review: Review, line: str) -> list[str]:
    """Carry out one line; what there is to show. Raises `CaptureError` for what cannot be done."""
    words = line.split()
    if review.pending is not None:
        # Anything but a clear yes leaves everything as it is.
        if words == ["yes"]:
            return [review.confirm(), *review.lines()]
        told = [review.drop()]
        return told if words in ([], ["no"]) else [*told, *answer(review, line)]
    match words:
        case []:
            return []
        case [number] if number.isascii() and number.isdigit():
            review.open(_whole(number))
            return review.lines()
        case ["help"]:
            return list(HELP)
        case ["list"]:
            review.close()
            return _list(review)
        case ["find", *text]:
            review.close()
            review.filter = " ".join(text)
            return _list(review)
        case ["amend", number, value, *reason]:
            return [review.amend(_whole(number), value, " ".join(reason))]
        case ["withdraw", number, *reason]:
            return [review.withdraw(_whole(number), " ".join(reason))]
        case ["undo"]:
            return [review.undo()]
        case ["play", number]:
            return [review.play(_whole(number))]
        case ["no", "sound"]:
            return [review.remove_sound()]
        case ["sign", *name]:
            return [review.sign(" ".join(name))]
        case ["by", *name]:
            review.by_name = " ".join(name)
            return [f"You are {review.by_name}." if name else "You are nobody."]
        case _:
            raise CaptureError(f"'{cut(one_line(words[0]), 20)}' is no command here.", "Type help.")


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 8):
        raise CaptureError("That is no number of the list.", "Take one from the first row.")
    return int(text)
