"""The language rules that a program can check."""

import pytest

from tests import language

RULES = {
    "class names are unique": language.repeated_class_names,
    "no bare participle is a name": language.participle_names,
    "docstrings open with a verb or a noun": language.docstring_openings,
    "template lines fit a review": language.long_template_lines,
    "labels come from the vocabulary": language.foreign_labels,
}


@pytest.mark.parametrize("rule", RULES)
def test_the_program_keeps_the_rule(rule: str) -> None:
    assert RULES[rule]() == []
