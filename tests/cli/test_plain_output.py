"""What steers a terminal (ECMA-48 controls, Unicode's direction marks) never gets to it from titles, marks and file names."""

import io
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.cli.main import main
from monitor.cli.plain_output import PlainOutput, plain_line, plain_text

HOSTILE = "\x1b[2J\x1b]0;taken\x07 \u202egnol \u2066x\u2069 \x9b31m"


@given(st.text())
def test_nothing_that_steers_gets_through(text):
    out = io.StringIO()
    PlainOutput(out).write(text)
    shown = out.getvalue()
    assert len(shown) == len(text)
    assert {unicodedata.category(each) for each in shown} & {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"} <= {"Cc"}
    assert {each for each in shown if unicodedata.category(each) == "Cc"} <= set("\n\t")


def test_plain_words_stay_as_they_are():
    assert plain_text("Fernhollow – 18 V ≈ «Schleife» 列車\n\t") == "Fernhollow – 18 V ≈ «Schleife» 列車\n\t"
    assert plain_line("one\r\n two") == "one two"


@pytest.mark.parametrize("stream", ["out", "err"])
def test_file_names_of_others_move_no_cursor(tmp_path, capsys, stream):
    path = tmp_path / f"a{HOSTILE}b.toml"
    assert main(["layout", "check", str(path)]) == 2
    assert "\x1b" not in getattr(capsys.readouterr(), stream)
