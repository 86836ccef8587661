"""Supplements: computed once by a worker, merged, and frozen with a release."""

import pgtrigger
import pytest
from django.db import ProgrammingError, transaction

from checks import tasks
from checks.evaluation.evaluate import evaluate
from checks.evaluation.result_supplement import compute_supplement
from checks.evaluation_input import digest_document, load_evaluation_input
from checks.models import Evaluation, EvaluationSupplement
from checks.services import result_supplements
from checks.services.releases import sign_release
from checks.services.result_supplements import (
    ensure_supplement,
    supplement_evaluation,
    supplement_latest_evaluations,
)
from core.models import Person
from jobs.evaluation_due import mark_evaluation_due
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.result.supplement import merge_supplement
from jobs.models import Building
from tests.checks.conftest import Measure, as_planned, entry

pytestmark = pytest.mark.django_db


@pytest.fixture
def evaluation(building: Building, measure: Measure) -> Evaluation:
    """Return the latest evaluation of a building measured on plan."""
    measure(*as_planned(building, "foundation"))
    return latest(building)


def latest(building: Building) -> Evaluation:
    found = Evaluation.objects.filter(building=building).order_by("-pk").first()
    assert found is not None
    return found


def test_a_worker_computes_the_probability_and_the_result_carries_it(
    evaluation: Evaluation,
) -> None:
    fit_up = evaluation.complete_result["fit_up"]
    assert fit_up is not None
    assert fit_up["probability"] is fit_up["conclusion"] is None
    tasks.supplement_latest_evaluations.delay()
    again = Evaluation.objects.get(pk=evaluation.pk)
    merged = again.complete_result["fit_up"]
    assert merged is not None
    assert merged["probability"] is not None
    assert merged["probability"] <= (merged["probability_bound"] or 0.0)
    assert merged["conclusion"] == "goes_together"
    # All else is the evaluation's, whose row nobody changed.
    assert merged["misfit"] == fit_up["misfit"]
    assert again.result == evaluation.result


def test_the_same_record_has_the_same_probability(
    building: Building, evaluation: Evaluation
) -> None:
    stored = supplement_evaluation(evaluation.pk)
    assert stored is not None
    document = load_evaluation_input(building)
    digest = digest_document(document.document)
    assert digest == evaluation.input_digest
    assert compute_supplement(document.building, digest) == stored.members
    other = compute_supplement(document.building, "f" * 64)
    # Drawn anew, other positions decide by another share.
    assert other["fit_up"]["worst"] != stored.members["fit_up"]["worst"]


def test_twice_is_once(evaluation: Evaluation) -> None:
    assert supplement_latest_evaluations() == 1
    assert supplement_latest_evaluations() == 0
    assert supplement_evaluation(evaluation.pk) is None
    assert EvaluationSupplement.objects.count() == 1


def test_only_the_latest_evaluation_gets_one(
    building: Building, measure: Measure, evaluation: Evaluation
) -> None:
    measure(entry("wall:A-B", "66'"))
    supplement_latest_evaluations()
    supplement = EvaluationSupplement.objects.get()
    assert supplement.evaluation == latest(building) != evaluation
    # An older one asked for by name is another record by now.
    assert supplement_evaluation(evaluation.pk) is None


def test_a_building_that_is_due_waits_for_its_evaluation(
    building: Building, evaluation: Evaluation
) -> None:
    mark_evaluation_due(building)
    assert supplement_latest_evaluations() == 0


def test_without_a_fit_up_there_is_nothing_to_add(
    building: Building, measure: Measure
) -> None:
    measure(entry("wall:A-B", "66'"))
    assert supplement_latest_evaluations() == 1
    supplement = EvaluationSupplement.objects.get()
    assert supplement.members == {}
    assert latest(building).complete_result == latest(building).result


def test_one_that_fails_keeps_no_other_from_its_supplement(
    evaluation: Evaluation, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("no memory")

    with monkeypatch.context() as patch:
        patch.setattr(result_supplements, "compute_supplement", fail)
        assert supplement_latest_evaluations() == 0
    assert supplement_latest_evaluations() == 1


def test_a_release_computes_it_and_freezes_it(
    building: Building, measure: Measure, operations: Person
) -> None:
    measure(*as_planned(building, "foundation", "verification"))
    assert not EvaluationSupplement.objects.exists()
    release = sign_release(actor=operations, building=building, kind="ship")
    frozen = release.record["evaluation"]["result"]["fit_up"]
    stored = EvaluationSupplement.objects.get(
        evaluation_id=release.record["evaluation"]["id"]
    )
    assert frozen["probability"] == stored.members["fit_up"]["probability"]
    assert frozen["conclusion"] == "goes_together"
    assert sha256_of(release.record) == release.digest


def test_ensuring_one_that_is_there_computes_nothing(
    evaluation: Evaluation, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored = ensure_supplement(evaluation)
    monkeypatch.setattr(result_supplements, "compute_supplement", None)
    assert ensure_supplement(evaluation) == stored


def test_a_supplement_is_never_changed_or_deleted(evaluation: Evaluation) -> None:
    supplement = ensure_supplement(evaluation)
    assert supplement is not None
    for change in (supplement.delete, lambda: supplement.save()):
        with (
            pytest.raises(ProgrammingError, match="Cannot update or delete"),
            transaction.atomic(),
        ):
            change()
    assert pgtrigger.registered(f"checks.{EvaluationSupplement.__name__}:append_only")


def test_members_of_an_object_are_merged_and_the_result_stays_as_it_is(
    building: Building,
) -> None:
    result = evaluate(load_evaluation_input(building).building)
    changed = {**result, "fit_up": {"misfit": 1.0, "probability": None}}
    before = {**changed, "fit_up": dict(changed["fit_up"])}
    merged = merge_supplement(
        changed,  # type: ignore[arg-type]
        {"fit_up": {"probability": 0.5}, "next_readings": [{"check": "line:S1"}]},
    )
    assert merged["fit_up"] == {"misfit": 1.0, "probability": 0.5}
    assert merged["next_readings"] == [{"check": "line:S1"}]  # type: ignore[typeddict-item]
    assert changed == before
