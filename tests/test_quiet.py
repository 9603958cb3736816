"""Native messages are kept off the screen and can be read afterwards."""

import os

import pytest

from capture.recognise.quiet import NativeMessages, native_messages


def test_what_is_printed_past_python_is_collected(capfd: pytest.CaptureFixture[str]) -> None:
    """Nothing reaches the screen within the block, everything after it."""
    with native_messages() as messages:
        os.write(2, b"WARNING (VoskAPI) something\n")
    os.write(2, b"afterwards\n")
    assert messages.text == "WARNING (VoskAPI) something\n"
    assert capfd.readouterr().err == "afterwards\n"


def fail_to_load(kept: list[NativeMessages]) -> None:
    """Print a reason and raise, as a library does that cannot load its file."""
    with native_messages() as messages:
        kept.append(messages)
        os.write(2, b"ERROR (VoskAPI:Read():io.cc:72) the file ends too early\n")
        raise RuntimeError("load")


def test_an_exception_gives_the_screen_back(capfd: pytest.CaptureFixture[str]) -> None:
    """When loading fails, later messages are seen again and the reason is known."""
    kept: list[NativeMessages] = []
    with pytest.raises(RuntimeError, match="load"):
        fail_to_load(kept)
    os.write(2, b"afterwards\n")
    assert kept[0].reason == "the file ends too early"
    assert capfd.readouterr().err == "afterwards\n"


def test_no_error_line_is_no_reason() -> None:
    """Warnings alone give no reason."""
    assert NativeMessages("WARNING (VoskAPI) loud\n").reason == ""
