"""The protocols that come with the program, from the files in `data/` beside this module.

They are as constant as the code: reading them gives the same answer every time, so the pure core
may do it. A practitioner's own file is opened by `capture.protocol_file`.
"""

from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType

from capture.protocol.protocol import Protocol
from capture.protocol.reading import read_protocol

SHIPPED = ("seven_sites", "three_sites_men", "three_sites_women", "four_sites", "eight_sites")
"""Their ids, which are also the names of their files."""


@cache
def protocols() -> Mapping[str, Protocol]:
    """All protocols that come with the program, by id."""
    return MappingProxyType(
        {name: read_protocol(text_of(name), f"{name}.toml") for name in SHIPPED}
    )


def text_of(name: str) -> str:
    """The text of one protocol's file, to be read or copied."""
    file = resources.files("capture.protocol") / "data" / f"{name}.toml"
    return file.read_text(encoding="utf-8")
