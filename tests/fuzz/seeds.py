"""Seeds that failed, as small files that are played first the next time."""

from pathlib import Path

from tests.fuzz.failures import Failure

__all__ = ["FOLDER", "keep", "kept"]

FOLDER = Path(__file__).parent / "seeds"


def kept(folder: Path = FOLDER) -> list[tuple[str, int]]:
    """List the kept seeds: target and number, by the names of their files."""
    found = []
    for path in sorted(folder.glob("*-*.txt")):
        target, _, number = path.stem.partition("-")
        if number.isdigit():
            found.append((target, int(number)))
    return found


def keep(failure: Failure, folder: Path = FOLDER) -> Path:
    """Write the seed of a failure down, with what it was."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{failure.target}-{failure.seed}.txt"
    words = (
        f"{failure.location}\n{failure.error.encode('ascii', 'backslashreplace').decode()}\nat step {failure.step}\n"
    )
    with path.open("a", encoding="utf-8") as file:
        file.write(words)
    return path
