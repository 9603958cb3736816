"""The one family of errors that a person sees.

A library raises; only the command line turns an error into words and an exit code.
Speech that was not understood is not an error: it is a value (`NotUnderstood`).
"""


class CaptureError(Exception):
    """Something that stops a command, told to a person.

    `message` says what is wrong, in one line, without personal data.
    `hint` says what to do about it; it may be empty when the message already does.
    """

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()


class MisuseError(CaptureError):
    """The command was called with something it cannot take (exit code 2)."""
