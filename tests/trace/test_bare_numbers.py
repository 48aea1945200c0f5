"""Numbers of trace that stand in the middle of a function without a name or a reason.

A number explains itself where it is small and counts (0 to 4), halves or doubles, indexes or names
an axis, a shape or a channel; where it is a byte's or a percent's scale; where it only keeps from
dividing by zero; and where a comment stands on its line or directly above its statement. All others
want a name with a unit and a reason at the top of the file.

Run as `python tests/trace/test_bare_numbers.py` to print the list.
"""

import ast
import io
import tokenize
from pathlib import Path

TRACE = Path(__file__).parents[2] / "trace"
MOST = 40

# Counts, halves, a byte, per cent, whole and half turns, powers of ten: they say what they are.
TRIVIAL = {0, 1, 2, 3, 4, 0.5, 0.25, 10, 100, 1000, 255, 256, 257, 360, 180, 90, 1e6}
GUARD = 1e-4  # smaller numbers keep from dividing by zero
# Arguments whose meaning is their own: counts of things, axes, formats.
PLAIN_ARGUMENTS = {"axis", "ddof", "decimals", "dtype", "maxsize", "ndigits", "shift", "truncate"}


def bare_numbers(path: Path) -> list[tuple[int, str]]:
    """(line, source of the line) for every bare number of a file, one entry for each number."""
    source = path.read_text(encoding="utf-8")
    lines = source.splitlines()
    comments = {
        token.start[0]
        for token in tokenize.generate_tokens(io.StringIO(source).readline)
        if token.type == tokenize.COMMENT
    }
    whole_lines = {line for line in comments if lines[line - 1].lstrip().startswith("#")}
    found = []

    def explained(line: int, statement: ast.stmt) -> bool:
        """By a comment on its line, or by one of its own line above that or above the statement."""
        return line in comments or bool({line - 1, statement.lineno - 1} & whole_lines)

    def visit(node: ast.AST, statement: ast.stmt | None, inside: bool) -> None:
        if isinstance(node, ast.stmt):
            statement = node
        if isinstance(node, ast.FunctionDef):
            for part in node.body:
                visit(part, statement, True)
            return
        if isinstance(node, ast.Subscript):
            visit(node.value, statement, inside)
            return  # an index
        if isinstance(node, ast.keyword) and node.arg in PLAIN_ARGUMENTS:
            return
        if isinstance(node, ast.JoinedStr):
            return  # a sentence
        if isinstance(node, ast.Constant) and inside and statement is not None:
            value = node.value
            number = isinstance(value, int | float) and not isinstance(value, bool)
            if (
                number
                and abs(value) not in TRIVIAL
                and not 0 < abs(value) < GUARD
                and not explained(node.lineno, statement)
            ):
                found.append((node.lineno, lines[node.lineno - 1].strip()))
            return
        for child in ast.iter_child_nodes(node):
            visit(child, statement, inside)

    visit(ast.parse(source), None, False)
    return found


def listed() -> list[str]:
    """All bare numbers of trace."""
    return [
        f"{path.relative_to(TRACE.parent)}:{line}: {text}"
        for path in sorted(TRACE.rglob("*.py"))
        for line, text in bare_numbers(path)
    ]


def test_few_numbers_stand_without_a_name_or_a_reason():
    found = listed()
    assert len(found) <= MOST, f"{len(found)} bare numbers:\n" + "\n".join(found)


def test_a_bare_number_is_found_and_an_explained_one_is_not(tmp_path):
    path = tmp_path / "numbers.py"
    path.write_text(
        "LIMIT = 0.7\n"
        "def f(x, reach=7):\n"
        "    y = x[5] * 0.7\n"
        "    z = y + 12  # rows\n"
        "    # A third, as on renders.\n"
        "    return max(z / 2, 1e-9, 0.3)\n"
    )
    assert bare_numbers(path) == [(3, "y = x[5] * 0.7")]


if __name__ == "__main__":
    print("\n".join(listed()))
    print(f"{len(listed())} bare numbers, {MOST} at most")
