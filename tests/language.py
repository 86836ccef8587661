"""Search the program for what the language rules do not allow."""

import ast
import re
import tokenize
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from core.vocabulary import (
    DispositionKind,
    ReleaseKind,
    RemedyKind,
    StageKind,
    Verdict,
)

ROOT = Path(__file__).parents[1]
PACKAGES = ("core", "jobs", "checks", "api")
MAX_TEMPLATE_LINE = 160
MAX_MODULE_LINES = 450
# Labels that are also the words of a button or of a sentence in a template.
SENTENCES = frozenset({"measure again", "not measured"})

FIRST_WORDS = frozenset(
    {"Give", "Say", "Tell", "Let", "Put", "Whether", "What", "Who", "Whoever"}
)
BARE_WORDS = """
added advised again ahead alike allowed alone announced announcing apart asked asking
beside both bound broken brought called carried changed checked chosen clearly closed
closing come counted cut decided delivered delivering demanded done doubted drawn due
ended entered entering exchanged filled fitted followed forgetting found gathered
gathering given gone handed heard held judged kept knocked knowing known laid leading
leaning leaving left listed looked lowered made measured mended met misplaced missed
moved named nothing noticed offered opened out packed paired placed placing proposed
queued raised reached refused refusing rested said saw seeing seen sending sent settled
shown signed solved sought standing stored struck taken taking talked taped telling them
there those together told tried turned turning understood unsure waited waiting walked
wanted watched whole with worked writing written wrong
"""
PARTICIPLES = frozenset(BARE_WORDS.split())


def program_modules() -> list[Path]:
    """List the program's modules, migrations aside."""
    return sorted(
        path
        for package in PACKAGES
        for path in (ROOT / package).rglob("*.py")
        if "migrations" not in path.parts
    )


def templates() -> list[Path]:
    """List the program's templates."""
    return sorted(
        path
        for package in PACKAGES
        for path in (ROOT / package).rglob("templates/**/*")
        if path.suffix in {".html", ".txt", ".svg"}
    )


def name_path(path: Path) -> str:
    """Return a path as a report names it, from the root of the project."""
    return path.relative_to(ROOT).as_posix()


@cache
def parse_module(path: Path) -> ast.Module:
    """Parse a module once for all rules."""
    return ast.parse(path.read_text())


Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def definitions(path: Path) -> Iterator[Definition]:
    """Yield the functions and classes of a module, nested ones too."""
    for node in ast.walk(parse_module(path)):
        if isinstance(node, Definition):
            yield node


def is_unprescribed(name: str) -> bool:
    """Return True for a public class name that no framework prescribes."""
    return name != "Command" and not name.startswith("_")


def repeated_class_names() -> list[str]:
    """List public classes whose name is defined in two modules of the program."""
    places = defaultdict(set)
    for path in program_modules():
        for node in parse_module(path).body:
            if isinstance(node, ast.ClassDef) and is_unprescribed(node.name):
                places[node.name].add(name_path(path))
    return [
        f"{path}: class {name} is also in {', '.join(sorted(paths - {path}))}"
        for name, paths in sorted(places.items())
        if len(paths) > 1
        for path in sorted(paths)
    ]


def participle_names() -> list[str]:
    """List functions, classes and modules named by a bare participle or adverb."""
    found = []
    for path in program_modules():
        if path.stem in PARTICIPLES:
            found.append(f"{name_path(path)}:1: module {path.stem}")
        for node in definitions(path):
            if node.name.strip("_").lower() in PARTICIPLES:
                found.append(f"{name_path(path)}:{node.lineno}: {node.name}")
    return found


def docstring_openings() -> list[str]:
    """List docstrings that open with a word that tells the reader nothing."""
    found = []
    for path in program_modules():
        for node in (parse_module(path), *definitions(path)):
            text = ast.get_docstring(node) or ""
            first = re.match(r"\w+", text)
            if first and first[0] in FIRST_WORDS:
                line = node.body[0].lineno
                found.append(f"{name_path(path)}:{line}: {text.splitlines()[0]}")
    return found


def long_template_lines() -> list[str]:
    """List template lines that are too long to read in a review."""
    return [
        f"{name_path(path)}:{number}: {len(line)} characters"
        for path in templates()
        for number, line in enumerate(path.read_text().splitlines(), start=1)
        if len(line) > MAX_TEMPLATE_LINE
    ]


def long_modules() -> list[str]:
    """List modules of the program and tests with too many lines."""
    modules = [*program_modules(), *sorted((ROOT / "tests").rglob("*.py"))]
    return [
        f"{name_path(path)}: {lines} lines"
        for path in modules
        if (lines := len(path.read_text().splitlines())) > MAX_MODULE_LINES
    ]


def comment_density() -> dict[str, tuple[int, int]]:
    """Count comments and lines, by package of the program."""
    counts: dict[str, tuple[int, int]] = {}
    for path in program_modules():
        name = "/".join(path.relative_to(ROOT).parts[:-1][:2])
        with path.open("rb") as source:
            comments = sum(
                token.type == tokenize.COMMENT
                for token in tokenize.tokenize(source.readline)
            )
        before = counts.get(name, (0, 0))
        lines = len(path.read_text().splitlines())
        counts[name] = (before[0] + comments, before[1] + lines)
    return counts


def vocabulary_labels() -> list[str]:
    """List the labels that no module or template but the vocabulary may write.

    A label of one word is also a word of ordinary sentences and is left out.
    """
    labels = [
        member.label.partition(" (")[0]
        for words in (Verdict, RemedyKind, DispositionKind, StageKind, ReleaseKind)
        for member in words
    ]
    return [label for label in labels if " " in label]


def foreign_labels() -> list[str]:
    """List labels of the vocabulary that are written elsewhere."""
    labels = {label.casefold() for label in vocabulary_labels()}
    found = []
    for path in program_modules():
        if name_path(path) == "core/vocabulary.py":
            continue
        for node in ast.walk(parse_module(path)):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                text = node.value.partition(" (")[0]
                if text.casefold() in labels:
                    found.append(f"{name_path(path)}:{node.lineno}: {node.value!r}")
    sought = [each for each in vocabulary_labels() if each.casefold() not in SENTENCES]
    pattern = re.compile("|".join(map(re.escape, sought)))
    for path in templates():
        for number, line in enumerate(path.read_text().splitlines(), start=1):
            if match := pattern.search(line):
                found.append(f"{name_path(path)}:{number}: {match[0]!r}")
    return found
