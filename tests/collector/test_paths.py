"""Where things are, in every kind of environment, and never in a folder that others can write to."""

import os
from pathlib import Path

import pytest

from collector import paths


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    for name in ("RUNTIME_DIRECTORY", "XDG_RUNTIME_DIR", "XDG_STATE_HOME", "STATE_DIRECTORY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", "/home/cook")
    monkeypatch.setattr(paths, "USERS_FOLDER", tmp_path / "user")
    return tmp_path


def test_the_socket_goes_where_it_is_named(monkeypatch):
    monkeypatch.setenv("RUNTIME_DIRECTORY", "/run/coldside-a:/run/b")
    monkeypatch.setenv("XDG_RUNTIME_DIR", "/run/user/7")
    assert paths.runtime_socket("x.sock") == Path("x.sock")
    assert paths.runtime_socket() == Path("/run/coldside-a/collector.sock")
    monkeypatch.delenv("RUNTIME_DIRECTORY")
    assert paths.runtime_socket() == Path("/run/user/7/coldside/collector.sock")


def test_without_a_session_the_login_folder_is_used_where_there_is_one(home):
    login = home / "user" / str(os.getuid())
    login.mkdir(parents=True)
    assert paths.runtime_socket() == login / "coldside" / "collector.sock"


@pytest.mark.parametrize("session", [None, "", "relative"])
def test_else_the_state_folder_and_without_a_warning(session, monkeypatch, capsys):
    if session is not None:
        monkeypatch.setenv("XDG_RUNTIME_DIR", session)
    assert paths.runtime_socket() == Path("/home/cook/.local/state/coldside/collector.sock")
    assert capsys.readouterr().err == ""
