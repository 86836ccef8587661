"""The structure of the program: the size of its modules, and its tests beside it."""

from tests import language

# The lowest density of comments that a change may leave, per 100 lines.
MIN_COMMENTS_PER_100_LINES = 1.0


def test_no_module_is_too_long() -> None:
    assert language.long_modules() == []


def test_comments_say_why() -> None:
    counts = language.comment_density().values()
    comments, lines = (sum(column) for column in zip(*counts, strict=True))
    assert 100 * comments / lines >= MIN_COMMENTS_PER_100_LINES


def test_every_folder_of_tests_mirrors_a_package() -> None:
    tests = language.ROOT / "tests"
    folders = {
        path.parent.relative_to(tests)
        for package in language.PACKAGES
        for path in (tests / package).rglob("test_*.py")
    }
    missing = {str(each) for each in folders if not (language.ROOT / each).is_dir()}
    assert missing == set()
