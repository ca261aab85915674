"""Counts the constants of the model: `python -m tests.bench.constants`.

A constant is a name in capitals at module level. A plain one is a number, or an expression of numbers; the numbers
inside tuples, lists, sets, dicts and calls are counted apart. Those without a docstring below them are listed: it says
meaning, unit and origin.
"""

import argparse
import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

__all__ = ["MOST_PLAIN", "MOST_WITHIN", "Constant", "constants_of", "model_constants", "undocumented"]

MODEL = Path(__file__).resolve().parents[2] / "collector" / "model"
MOST_PLAIN, MOST_WITHIN = 293, 297
"""The most constants that the model may have now, plain and within tuples; lowered whenever some go."""
GENERATED = frozenset({"learned.py", "network_weights.py"})
"""Files that hold what was learned by a program."""


@dataclass(frozen=True, slots=True)
class Constant:
    """One name in capitals at module level."""

    file: str
    line: int
    name: str
    plain: int
    """1 where it is a number, 0 where it holds numbers."""
    within: int
    """How many numbers it holds."""
    docstring: str


def _is_constant(name: str) -> bool:
    bare = name.lstrip("_")
    return bare.isupper() and bare[:1].isalpha()


def _numbers(node: ast.AST) -> int:
    return sum(
        isinstance(part, ast.Constant) and isinstance(part.value, (int, float)) and not isinstance(part.value, bool)
        for part in ast.walk(node)
    )


def _is_plain(node: ast.expr) -> bool:
    """Tell whether an expression is one number: a literal, or arithmetic of literals and other constants."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, (int, float)) and not isinstance(node.value, bool)
    if isinstance(node, ast.UnaryOp):
        return _is_plain(node.operand)
    if isinstance(node, ast.BinOp):
        sides = (node.left, node.right)
        return any(_is_plain(side) for side in sides) and all(_is_plain(s) or isinstance(s, ast.Name) for s in sides)
    return False


def _pairs(statement: ast.stmt) -> Iterator[tuple[str, ast.expr]]:
    """Give the names that a statement binds, each with its value where `A, B = 1, 2` binds several."""
    if isinstance(statement, ast.AnnAssign) and statement.value is not None and isinstance(statement.target, ast.Name):
        yield statement.target.id, statement.value
    if isinstance(statement, ast.Assign):
        for target in statement.targets:
            if isinstance(target, ast.Name):
                yield target.id, statement.value
            elif isinstance(target, ast.Tuple) and isinstance(statement.value, ast.Tuple):
                for one, value in zip(target.elts, statement.value.elts, strict=False):
                    if isinstance(one, ast.Name):
                        yield one.id, value


def constants_of(source: str, file: str) -> list[Constant]:
    """List the constants of a module that hold a number."""
    body = ast.parse(source).body
    out = []
    for k, statement in enumerate(body):
        after = body[k + 1] if k + 1 < len(body) else None
        text = ""
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) and isinstance(after.value.value, str):
            text = after.value.value
        for name, value in _pairs(statement):
            if not _is_constant(name):
                continue
            plain = int(_is_plain(value))
            within = 0 if plain else _numbers(value)
            if plain or within:
                out.append(Constant(file, statement.lineno, name, plain, within, text))
    return out


def model_constants(folder: Path = MODEL) -> list[Constant]:
    """List the constants of all modules below a folder, but for those that a program wrote."""
    out = []
    for path in sorted(folder.rglob("*.py")):
        if path.name not in GENERATED:
            out += constants_of(path.read_text(encoding="utf-8"), str(path.relative_to(folder)))
    return out


def undocumented(constants: list[Constant]) -> list[Constant]:
    """Keep the constants without a docstring."""
    return [constant for constant in constants if not constant.docstring]


def main() -> int:
    """Print the counts of each file; 1 when there are more than allowed."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.constants", description="Count the model's constants.")
    parser.add_argument("--missing", action="store_true", help="list each constant without a docstring")
    options = parser.parse_args()
    found = model_constants()
    print(f"{'file':<32}{'plain':>7}{'names with several':>20}{'numbers in these':>18}{'no docstring':>14}")
    for file in dict.fromkeys(constant.file for constant in found):
        here = [constant for constant in found if constant.file == file]
        several = [constant for constant in here if not constant.plain]
        plain, within, bare = len(here) - len(several), sum(c.within for c in several), len(undocumented(here))
        print(f"{file:<32}{plain:>7}{len(several):>20}{within:>18}{bare:>14}")
    plain, several = sum(c.plain for c in found), sum(not c.plain for c in found)
    within, bare = sum(c.within for c in found), undocumented(found)
    print(f"{'all':<32}{plain:>7}{several:>20}{within:>18}{len(bare):>14}")
    print(f"allowed now: {MOST_PLAIN} plain, {MOST_WITHIN} numbers in tuples, lists, dicts and calls")
    if options.missing:
        print(*(f"collector/model/{c.file}:{c.line}: {c.name} has no docstring" for c in bare), sep="\n")
    return int(plain > MOST_PLAIN or within > MOST_WITHIN)


if __name__ == "__main__":
    sys.exit(main())
