"""What is installed, pinned and shipped."""

import re
import subprocess
import tomllib
from importlib.metadata import packages_distributions, version
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def pins():
    text = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8")
    return [line.strip() for line in text.splitlines() if line.strip() and not line.startswith("#")]


def test_the_three_package_names_are_ours():
    """Other distributions ship a package named `adapters`; in one environment the last one installed wins."""
    owners = packages_distributions()
    for name in ("adapters", "collector", "tui", "sample_streams"):
        assert set(owners.get(name, ["coldside"])) == {"coldside"}, f"another distribution owns {name}"


def test_the_pins_of_pip_and_uv_are_the_same_and_name_no_host():
    def plain(pin):
        return pin.replace("'", '"')

    uv = PYPROJECT["tool"]["uv"]["constraint-dependencies"]
    assert sorted(map(plain, pins())) == sorted(map(plain, uv))
    assert not [pin for pin in pins() if "://" in pin]


def test_every_dependency_is_pinned():
    pinned = {re.split(r"[=<>! ;\[]", pin)[0].lower() for pin in pins()}
    wanted = [*PYPROJECT["project"]["dependencies"], *PYPROJECT["project"]["optional-dependencies"]["dev"]]
    assert {re.split(r"[=<>! ;\[]", w)[0].lower() for w in wanted} <= pinned


def test_the_changelog_names_this_version():
    assert f"## {version('coldside')}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_the_top_level_is_what_was_agreed():
    git = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if git.returncode:
        pytest.skip("not a git checkout")
    top = {name.split("/")[0] for name in git.stdout.splitlines()}
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "collector", "tui", "adapters", "tests", "sample_streams"}
    agreed |= {"LICENSE", "CHANGELOG.md"}
    assert {name for name in top if not name.startswith(".")} == agreed


def test_no_file_names_a_registry_host_or_a_path_of_one_machine():
    # put together here so that this file does not name them either
    words = ["pypi" + ".org", "python" + "hosted", "registry." + "npmjs", "deb." + "debian", "/root/" + ".pyenv"]
    git = subprocess.run(["git", "grep", "-nIE", "|".join(words), "--", "."], cwd=ROOT, capture_output=True, text=True)
    assert git.stdout == ""
