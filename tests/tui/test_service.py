"""`coldside service` as its user calls it, with a folder of its own instead of the system's."""

import subprocess
import sys

import pytest

from tui.cli import main

CONFIG = """
[chamber]
length = 120
width = 50
unit = "cm"
[cook]
target = "113 C"
[[source]]
name = "again"
kind = "rehearsal"
[[probe]]
name = "p1"
source = "again"
x = 10
y = 10
"""


@pytest.fixture
def config(tmp_path):
    file = tmp_path / "pit.toml"
    file.write_text(CONFIG)
    return file


def service(*words):
    return main(["service", *map(str, words)])


def test_a_unit_is_written_shown_kept_and_taken_away(tmp_path, config, capsys):
    units = tmp_path / "units"
    place = ("--units", units)
    assert service("show", *place, "--as", "cook", "-c", config) == 0
    assert "# not installed" in capsys.readouterr().out
    assert service("install", *place, "--as", "cook", "-c", config) == 0
    assert f"wrote {units}/coldside.service" in capsys.readouterr().out
    text = (units / "coldside.service").read_text()
    assert f"--config {config}" in text
    assert "User=cook" in text
    assert service("install", *place, "--as", "cook", "-c", config) == 0
    assert "is as it should be already" in capsys.readouterr().out
    assert service("install", *place, "--as", "smith", "-c", config) == 0
    assert "rewrote" in capsys.readouterr().out
    assert service("show", *place, "--as", "cook", "-c", config) == 0
    assert "differs from this" in capsys.readouterr().out
    assert service("uninstall", *place) == 0
    assert "the record of the cooks stay" in capsys.readouterr().out
    assert not (units / "coldside.service").exists()
    assert service("uninstall", *place) == 1
    assert "there is no such unit" in capsys.readouterr().err


def test_a_bad_config_is_not_installed(tmp_path, config, capsys):
    config.write_text(CONFIG.replace("length", "lenght"))
    assert service("install", "--units", tmp_path, "--as", "cook", "-c", config) == 78
    assert 'did you mean "length"' in capsys.readouterr().err
    assert not (tmp_path / "coldside.service").exists()


def test_it_need_not_be_root(tmp_path, config, capsys, monkeypatch):
    monkeypatch.delenv("SUDO_USER", raising=False)
    monkeypatch.setattr("getpass.getuser", lambda: "root")
    assert service("install", "--units", tmp_path, "-c", config) == 1
    assert "need not be root" in capsys.readouterr().err
    monkeypatch.setenv("SUDO_USER", "cook")
    assert service("show", "--units", tmp_path, "-c", config) == 0
    assert "User=cook" in capsys.readouterr().out


def test_the_written_command_is_the_one_that_runs(config, tmp_path, capsys):
    service("show", "--units", tmp_path, "--as", "cook", "-c", config)
    line = next(x for x in capsys.readouterr().out.splitlines() if x.startswith("ExecStart="))
    command = line.removeprefix("ExecStart=").split()[0]
    assert "coldside" in subprocess.run([command, "--version"], capture_output=True, text=True).stdout
    assert sys.executable.startswith(command.rsplit("/", 1)[0])
