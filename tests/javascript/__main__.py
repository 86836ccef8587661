"""Write the cases of the JavaScript tests: `python -m tests.javascript`."""

import json
import os

import django


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()

    from tests.javascript.cases import CASES_FILE, build_cases  # after the setup

    text = json.dumps(build_cases(), indent=1, ensure_ascii=False)
    CASES_FILE.write_text(f"{text}\n", encoding="utf-8")


main()
