"""Opens a practitioner's own protocol, or one that comes with the program, by one name."""

from pathlib import Path

from capture.errors import MisuseError
from capture.protocol.protocol import Protocol
from capture.protocol.reading import ProtocolError, read_protocol
from capture.protocol.shipped import protocols

MOST_BYTES = 1_000_000


def open_protocol(name: str) -> Protocol:
    """The protocol with this id, or of the TOML file at this path.

    Raises MisuseError if there is no such protocol, ProtocolError for a file that cannot be used.
    """
    if name in protocols():
        return protocols()[name]
    file = Path(name)
    if file.suffix != ".toml" and not file.exists():
        raise MisuseError(
            f"There is no protocol '{name}'.",
            f"Choose of {', '.join(protocols())}, or name a TOML file.",
        )
    try:
        with file.open("rb") as opened:
            content = opened.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            raise ProtocolError(f"{file.name} is too large for a protocol.", "Name another file.")
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise ProtocolError(
            f"{file.name}: byte {error.start} is not UTF-8 text.", "Save the file as UTF-8."
        ) from error
    except OSError as error:
        raise ProtocolError(
            f"The protocol file {file.name} cannot be read: {error.strerror}.",
            "Check the file and its permissions.",
        ) from error
    return read_protocol(text, file.name)
