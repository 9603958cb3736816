"""What is wrong with a file from elsewhere, in one line."""

from capture.errors import CaptureError

NOTHING_TAKEN = "Nothing was imported."


class FileRefused(CaptureError):  # noqa: N818  # a refusal, said as one
    """A file cannot be taken; `problems` are the rows at fault with the reason."""

    def __init__(self, message: str, problems: tuple[str, ...] = ()) -> None:
        super().__init__(message, NOTHING_TAKEN)
        self.problems = problems
