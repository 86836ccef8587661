"""The descriptions of the computations, and the pages that show them."""

import html
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

import checks.engine
from checks.engine.sources import PROVENANCE_MEANINGS, Provenance
from checks.methods import mathml, text_files
from checks.methods.catalogue import (
    FAMILIES,
    METHOD_BY_REMEDY,
    find_method,
    find_remedy_method,
    list_methods,
)
from checks.methods.examples import columns
from checks.methods.text_files import MethodTextError, read_family
from checks.models import Finding
from checks.queries.remedy_explanations import EXPLAINERS
from core.models import Person
from core.vocabulary import RemedyKind

ROOT = Path(__file__).parents[3]
NO_COMPUTATION = {"arrays", "constants", "errors", "sources"}
EVERY = pytest.mark.parametrize("slug", [method.slug for method in list_methods()])


@pytest.fixture
def reader(client: Client, field_lead: Person) -> Client:
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")
    return client


def text_of(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return plain(answer.content.decode())


def plain(text: str) -> str:
    """Text without its entities, and one space for any."""
    return " ".join(html.unescape(text).split())


def test_every_module_of_the_engine_has_a_method() -> None:
    engine = Path(str(checks.engine.__file__)).parent
    modules = {
        ".".join(path.relative_to(engine).with_suffix("").parts)
        for path in engine.rglob("*.py")
        if path.stem != "__init__"
    } - NO_COMPUTATION
    described = {name for method in list_methods() for name in method.modules}
    assert modules - described == set(), "has no method"
    assert described - modules == set(), "is not there"


@EVERY
def test_a_method_has_formula_source_limits_and_an_example(slug: str) -> None:
    method = find_method(slug)
    assert method is not None
    assert method.formulas
    assert method.limits
    assert method.sources
    assert method.summary.endswith(".")
    assert method.examples
    for example in method.examples:
        assert example.inputs
        assert example.steps
        assert example.results
        assert example.has_hand_results or example.has_published_results


def test_every_provenance_of_a_source_has_a_meaning() -> None:
    assert set(PROVENANCE_MEANINGS) == set(Provenance) - {Provenance.OVERRIDE}


@pytest.mark.parametrize(
    ("written", "changed", "message"),
    [
        ("summary = ", "answer = ", "plumb: missing \\['summary'\\]"),
        ('"project choice"', '"hearsay"', "'hearsay' is not a valid Provenance"),
        ('"calculate_plumb"', '"calculate_lean"', "no attribute 'calculate_lean'"),
    ],
)
def test_a_faulty_text_is_refused(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    written: str,
    changed: str,
    message: str,
) -> None:
    text = (text_files.TEXTS / "columns.toml").read_text()
    assert written in text
    (tmp_path / "columns.toml").write_text(text.replace(written, changed, 1))
    monkeypatch.setattr(text_files, "TEXTS", tmp_path)
    with pytest.raises(MethodTextError, match=message):
        read_family(columns)


def test_every_slug_is_unique() -> None:
    slugs = [family.slug for family in FAMILIES] + [
        each.slug for each in list_methods()
    ]
    assert len(slugs) == len(set(slugs))


def test_measured_rates_are_those_of_the_bench() -> None:
    told = (ROOT / "DEVELOPERS.md").read_text()
    causes = find_method("likely-causes")
    assert causes is not None
    measured = [limit for limit in causes.limits if re.search(r"300|1000", limit)]
    place = told.index("an honest crew is accused.")
    rates = re.findall(r"[\d.]+ %|\b\d{3,4}\b", told[place : place + 400])
    assert rates
    assert sorted(rates) == sorted(re.findall(r"[\d.]+ %|\b\d{3,4}\b", str(measured)))


def test_a_remedy_with_arithmetic_has_a_method() -> None:
    # A referral only shows the screen of the replacement that it rules out.
    assert set(EXPLAINERS) - {RemedyKind.REFER} == set(METHOD_BY_REMEDY)
    for remedy in METHOD_BY_REMEDY:
        assert find_method(find_remedy_method({"remedy": remedy})) is not None
    for scope in ("steel", "C1-C2"):
        assert (
            find_method(find_remedy_method({"remedy": "shift", "scope": scope}))
            is not None
        )
    assert find_remedy_method({"remedy": "refer"}) == ""


@EVERY
def test_formulas_are_valid_mathml(slug: str) -> None:
    method = find_method(slug)
    assert method is not None
    for formula in [*method.formulas, *(symbol.sign for symbol in method.symbols)]:
        math = ElementTree.fromstring(str(formula))  # noqa: S314 -- our own
        assert math.tag == "math"
        for element in math.iter():
            parts = {"mfrac": 2, "msub": 2, "msup": 2, "msubsup": 3, "munder": 2}
            assert len(element) == parts.get(element.tag, len(element)), formula


@pytest.mark.parametrize(
    ("written", "set_as"),
    [
        ("a - b", "<mi>a</mi><mo>\N{MINUS SIGN}</mo><mi>b</mi>"),
        ("x_i^2", "<msubsup><mi>x</mi><mi>i</mi><mn>2</mn></msubsup>"),
        ('"a<b "', "<mtext>a&lt;b\N{NO-BREAK SPACE}</mtext>"),
        ("N_{b a}", "<msub><mi>N</mi><mrow>"),
    ],
)
def test_a_formula_is_rendered_as_mathml(written: str, set_as: str) -> None:
    assert set_as in mathml.render_symbol(written)


@pytest.mark.parametrize("written", ["{a", "x_", "a}", "_a", r"\frac{a}", r"\sqrt"])
def test_an_incomplete_formula_is_refused(written: str) -> None:
    with pytest.raises(ValueError, match="a group is"):
        mathml.render_formula(written)


def test_the_page_shows_every_method_without_a_script(reader: Client) -> None:
    page = text_of(reader, reverse("checks:methods"))
    for method in list_methods():
        assert f'id="{method.slug}"' in page
        for told in (method.name, method.summary, *method.limits):
            assert told in page
        assert all(plain(formula) in page for formula in method.formulas)
        assert all(source.text in page for source in method.sources)
        assert all(example.title in page for example in method.examples)
        assert all(text in page for text in method.cautions)


@EVERY
def test_a_method_has_a_page_of_its_own(reader: Client, slug: str) -> None:
    page = text_of(reader, reverse("checks:method", args=[slug]))
    method = find_method(slug)
    assert method is not None
    assert f"<h1>{method.name}</h1>" in page
    assert page.count('class="method-body"') == 1


def test_an_unknown_method_is_not_found(reader: Client) -> None:
    assert reader.get(reverse("checks:method", args=["astrology"])).status_code == 404


def test_the_page_asks_the_database_for_the_reader_alone(reader: Client) -> None:
    with CaptureQueriesContext(connection) as asked:
        reader.get(reverse("checks:methods"))
    tables = {name for each in asked for name in re.findall(r'"(\w+)"\.', each["sql"])}
    assert tables <= {"django_session", "core_person", "core_device"}


def use_metric(person: Person) -> None:
    person.units = "metric"
    person.save()


def test_lengths_are_in_the_readers_units(reader: Client, field_lead: Person) -> None:
    address = reverse("checks:method", args=["shim-stacks"])
    assert ">3\N{FRACTION SLASH}8\N{DOUBLE PRIME}</span>" in text_of(reader, address)
    use_metric(field_lead)
    assert ">9.5 mm</span>" in text_of(reader, address)


def test_what_is_finer_than_a_tape_is_in_decimals(
    reader: Client, field_lead: Person
) -> None:
    address = reverse("checks:method", args=["uncertainty-tape"])
    assert ">0.1218 in</span>" in text_of(reader, address)
    use_metric(field_lead)
    assert ">3.092 mm</span>" in text_of(reader, address)


def test_nobody_reads_it_without_signing_in(client: Client, db: None) -> None:
    for address in (
        reverse("checks:methods"),
        reverse("checks:method", args=["plate-fit"]),
    ):
        answer = client.get(address)
        assert answer.status_code == 302
        assert answer["Location"].startswith(reverse("sign-in"))
        assert answer.content == b""


def test_the_foot_of_a_page_leads_there_once_signed_in(
    client: Client, field_lead: Person
) -> None:
    link = f'<a href="{reverse("checks:methods")}"'
    assert link not in text_of(client, reverse("sign-in"))
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")
    assert link in text_of(client, reverse("jobs:list"))


def test_a_finding_leads_to_the_method_of_its_remedy(
    reader: Client, low_pad: Finding
) -> None:
    page = text_of(reader, low_pad.get_absolute_url())
    assert f'href="{reverse("checks:method", args=["shim-stacks"])}"' in page
