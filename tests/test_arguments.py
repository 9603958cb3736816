"""What was called wrongly is told in one line that says what to do."""

import pytest

from capture.cli import main


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ("mesure", "There is no command 'mesure'. Did you mean measure?"),
        ("xyzzy", "There is no command 'xyzzy'. See 'foldcall --help'."),
        ("measure", "--client and --assessor are missing. See 'foldcall measure --help'."),
        ("measure --client", "--client lacks its value. See 'foldcall measure --help'."),
        ("clients add Ada --sex x", "--sex cannot be 'x'. Choose of: female, male."),
        ("measure --client a --assessor b --sex mal", "--sex cannot be 'mal'. Did you mean male?"),
        ("measure --client a --assessor b --age old", "--age cannot be 'old'. Give a number."),
        ("clients add Ada --sex male --nots x",
         "'--nots' is not known here. Did you mean --note?"),
        ("caliper add x --s 1", "'--s' may be --step, --store. Write it out."),
        ("measure --client a --assessor b --silent --beep",
         "--beep and --silent do not go together. Leave one of them out."),
        ("report last more", "'more' is not known here. See 'foldcall report --help'."),
        ("protocol", "What is to be done is missing. Choose of: list, show, copy, check."),
        ("caliper shwo", "There is no action 'shwo'. Did you mean show?"),
        ("clients edit Ada --show-fat perhaps",
         "--show-fat cannot be 'perhaps'. Choose of: yes, no."),
        ("review --date yesterday", "'yesterday' is no date. Write it as 2026-05-04."),
    ],
    ids=lambda each: each if each and "." not in each else "",
)  # fmt: skip
def test_a_wrong_call_says_what_to_do(
    arguments: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, on the error output, exit code 2; no block of every option there is."""
    assert main(arguments.split()) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err == f"foldcall: {told}\n"


def test_a_long_word_is_cut(capsys: pytest.CaptureFixture[str]) -> None:
    """What was typed is repeated as far as it can be recognised by."""
    assert main(["x" * 500]) == 2
    assert f"'{'x' * 40}...'" in capsys.readouterr().err
