"""Fail when a test run executed nothing, or left out what this machine can run."""

import sys
import xml.etree.ElementTree as ET

MAY_NOT_BE_SKIPPED = "no Chromium here"


def main(report: str) -> None:
    """Read pytest's JUnit report."""
    cases = list(ET.parse(report).iter("testcase"))  # noqa: S314 - see above
    skipped = [case for case in cases if case.find("skipped") is not None]
    print(f"{len(cases) - len(skipped)} tests executed, {len(skipped)} skipped")  # noqa: T201
    if len(skipped) == len(cases):
        sys.exit("No test was executed.")
    for case in skipped:
        reason = case.find("skipped").get("message", "")
        if MAY_NOT_BE_SKIPPED in reason:
            sys.exit(f"{case.get('name')} was skipped: {reason}")


main(sys.argv[1])
