"""Writes the generated parts of README.md and DEVELOPERS.md: `python tests/renew_docs.py`."""

import re
from pathlib import Path

from capture.composition.check_table import summary_markdown_lines
from capture.composition.crosschecks import markdown_lines as crosscheck_lines
from capture.pack import open_pack
from capture.protocol.protocol import SEVEN_SITES
from capture.resources import data_folder
from capture.screen.keymap import markdown_lines as key_table
from capture.wording.help import phrase_lines

ROOT = Path(__file__).parent.parent


def generated() -> dict[str, dict[str, str]]:
    """For each file its generated parts by name."""
    grammar = open_pack(data_folder("grammars") / "en").grammar
    phrases = phrase_lines(grammar, [site.id for site in SEVEN_SITES.sites])
    return {
        "README.md": {
            "keys": "\n".join(key_table()),
            "phrases": "\n".join(("```", *phrases, "```")),
        },
        "DEVELOPERS.md": {
            "checks": "\n".join(summary_markdown_lines()),
            "crosschecks": "\n".join(crosscheck_lines()),
        },
    }


def renewed(text: str, parts: dict[str, str]) -> str:
    """The text with its generated parts put in."""
    for name, content in parts.items():
        pattern = re.compile(f"(<!-- {name} -->\n).*?(<!-- /{name} -->)", re.DOTALL)
        text, count = pattern.subn(lambda found, new=content: f"{found[1]}{new}\n{found[2]}", text)
        if count != 1:
            raise SystemExit(f"the marks of '{name}' are missing")
    return text


if __name__ == "__main__":
    for file, parts in generated().items():
        path = ROOT / file
        path.write_text(renewed(path.read_text(encoding="utf-8"), parts), encoding="utf-8")
