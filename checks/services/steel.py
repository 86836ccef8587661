"""The state of a building's steel: recorded, then evaluated with it."""

from checks.services.evaluation import evaluate_or_leave_due
from core.models import Person
from jobs.models import Building
from jobs.services import set_steel_state


def record_steel_state(
    *, actor: Person, building: Building, state: str, note: str = ""
) -> bool:
    """Record how far a building's steel is, and evaluate the building with it.

    The order of the remedies depends on the state. The record stays where the
    evaluation fails; the sweep tries again.

    Returns
    -------
    bool : False if the steel is in this state already.

    Raises
    ------
    ValidationError
        If the state is unknown, or shipped steel is called back without a note.
    """
    changed = set_steel_state(actor=actor, building=building, state=state, note=note)
    if changed:
        evaluate_or_leave_due(building)
    return changed
