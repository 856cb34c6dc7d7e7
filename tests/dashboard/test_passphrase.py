import os

import pytest

from dashboard.passphrase import Passphrase
from monitor.cli.main import main
from monitor.errors import PageError


def test_no_device_is_replaced_by_the_file_of_the_passphrase(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(PageError, match="no plain file"):
        Passphrase(tmp_path / "pipe").keep("four words or more")
    assert [path.is_fifo() for path in tmp_path.iterdir()] == [True]


def test_a_name_that_no_disk_takes_is_one_sentence(tmp_path, capsys):
    assert main(["layout", "new", str(tmp_path / ("x" * 300))]) == 2
    assert "check the name, its folder and its rights" in capsys.readouterr().err
