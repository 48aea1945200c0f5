"""The house's English: habits that a native reader stumbles over do not come back.

Searched are the comments, docstrings and texts of the program and of what is written about it. Each
pattern has the words to use instead. What is kept deliberately stands in `KEPT`.
"""

import io
import re
import tokenize
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

# Pattern, and what to write instead.
HABITS = {
    r"(?<!there )\b(is|are|was|were) no (?!longer\b|more than\b|less\b|need\b)": "is not a",
    r"\bso (many|much)\b(?! (as|that)\b)": "this many, or the constant's name",
    r"\btaken for\b": "mistaken for",
    r"\b(are|were) wanted\b": "is wanted (a measure is singular)",
    r"\bthereabouts\b": "nearby",
    r"\btold (of|from|apart)\b": "reported, distinguished, separated",
    r"\ball told\b": "in total",
    r"\bnought\b": "zero",
    r"\banew\b": "again",
    r"\breckon": "allow for, estimate",
    r"\b(to|that line|still to) mend\b": "fix, correct",
    r"\btake (another|a) (name|frame|word)\b": "use, choose",
    r"\bcalipers\b": "caliper",
    r"\bcut off at white\b": "overexposed (clipped to white)",
    r"\bgoes? whole\b": "is rejected as a whole",
    r"\b(not )?believed\b": "inlier, outlier, accepted",
    r"\blearned (a |the |phone|camera|lens)|\blearn (a |the )(phone|camera|lens)": "calibrate",
    r"\bdrawn sizes?\b": "nominal size",
    r"\bover-?cuts?\b": "width error (an overcut is a corner relief)",
    r"\bno-go\b": "does not enter",
    r"\bjoint adjustment\b": "bundle adjustment",
    r"\bleft-out markers?\b|\bmarkers? left out\b": "hold-out error, markers held out",
    r"\bout of true\b|\baskew\b": "out of square, out of parallel",
    r"\{len\([^{}]*\)\} (?!letters|quantities|sets|markers|words)\w+s\b": "counted()",
}
# Files in which a phrase has its place: a variable's name, a table of words, the sense of a word.
KEPT = {
    "docs/page-api.md": ["no-go"],  # the same word
    "pocket/fits.py": ["no-go"],  # a word of records written by version 0.1
}


def texts() -> Iterator[Path]:
    """Every file whose words are checked."""
    yield from (ROOT / name for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md"))
    yield from sorted((ROOT / "docs").glob("*.md"))
    for room in ("base", "trace", "fit", "pocket", "desk", "api"):
        yield from sorted((ROOT / room).rglob("*.py"))


@cache
def words_of(path: Path) -> list[tuple[int, str]]:
    """Lines with their numbers; of a program only comments and texts, each token on its own."""
    content = path.read_text(encoding="utf-8")
    if path.suffix != ".py":
        return list(enumerate(content.splitlines(), start=1))
    return [
        (token.start[0], " ".join(token.string.split()))
        for token in tokenize.generate_tokens(io.StringIO(content).readline)
        if token.type in (tokenize.COMMENT, tokenize.STRING)
    ]


@pytest.mark.parametrize("habit", HABITS)
def test_habits_do_not_come_back(habit):
    pattern = re.compile(habit, re.IGNORECASE)
    found = []
    for path in texts():
        name = str(path.relative_to(ROOT))
        for line, text in words_of(path):
            hits = [hit[0] for hit in pattern.finditer(text)]
            found += [f"{name}:{line}: {hit}" for hit in hits if hit not in KEPT.get(name, ())]
    assert not found, f"write {HABITS[habit]!r} instead:\n" + "\n".join(found)


def test_the_patterns_find_what_they_are_for():
    told = [
        "the corner is no corner",
        "so many neighbours",
        "0.05 mm are wanted",
        "the rim was taken for it",
    ]
    for sentence in told:
        assert any(re.search(habit, sentence, re.IGNORECASE) for habit in HABITS), sentence
    for sentence in ("there is no photo", "so many that it fits", "it is no longer there"):
        assert not any(re.search(habit, sentence, re.IGNORECASE) for habit in HABITS), sentence
