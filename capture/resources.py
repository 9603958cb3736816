"""Where the data that come with the package lie: grammars, model, demo sound.

In an installed package they are inside it; in a checkout they lie beside it.
"""

from pathlib import Path

from capture.errors import CaptureError

_INSIDE = Path(__file__).parent / "_data"
_BESIDE = Path(__file__).parent.parent


def data_folder(name: str) -> Path:
    """The folder `grammars` or `demo_audio`.

    Raises CaptureError if the installation lacks it.
    """
    for base in (_INSIDE, _BESIDE):
        if (base / name).is_dir():
            return base / name
    raise CaptureError(
        f"This installation lacks its folder {name}.", "Install foldcall again from its wheel."
    )
