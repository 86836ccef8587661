import pytest

from checks.engine.constants import INCH_MM, PSI_MPA
from checks.engine.errors import EngineError
from checks.engine.fasteners import GRADES, find_thread
from checks.engine.reanchor import ReplacementRod, ScreenOutcome, screen_replacement_rod

ROD = 0.75 * INCH_MM


def proposal(**changes):
    full = {
        "diameter_mm": ROD,
        "embedment_mm": 10 * INCH_MM,
        "old_stub_mm": 6 * ROD,
        "neighbour_mm": 7 * ROD,
        "edge_mm": 8 * ROD,
        "concrete_age_days": 21.0,
        "concrete_temperature_c": 10.0,
        "concrete_strength_mpa": 2500 * PSI_MPA,
    }
    return ReplacementRod(**(full | changes))


def outcomes(screened):
    return {c.name: c.outcome for c in screened.conditions}


def test_every_condition_at_its_limit_passes():
    screened = screen_replacement_rod(proposal(edge_mm=6 * ROD, neighbour_mm=6 * ROD))
    assert screened.outcome is ScreenOutcome.PASS
    assert len(screened.conditions) == 8


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"embedment_mm": 3.9 * ROD}, "embedment"),
        ({"embedment_mm": 20.1 * ROD}, "embedment"),
        ({"old_stub_mm": 5.9 * ROD}, "spacing to the old stub"),
        ({"neighbour_mm": 5.9 * ROD}, "spacing to the nearest rod"),
        ({"edge_mm": 5.9 * ROD}, "edge distance"),
        ({"concrete_age_days": 20.9}, "concrete age"),
        ({"concrete_temperature_c": 9.9}, "concrete temperature"),
        ({"concrete_strength_mpa": 2499 * PSI_MPA}, "concrete strength"),
    ],
)
def test_each_condition_fails_by_itself(change, name):
    screened = screen_replacement_rod(proposal(**change))
    failed = [k for k, v in outcomes(screened).items() if v is ScreenOutcome.FAIL]
    assert failed == [name]
    assert screened.outcome is ScreenOutcome.FAIL


@pytest.mark.parametrize(("apart_in", "meets"), [(0.81, True), (0.82, False)])
def test_a_drill_that_meets_the_old_stub_fails(apart_in, meets):
    # half of a 7/8 in hole and half of a 3/4 in rod: 13/16 = 0.8125 in
    screened = screen_replacement_rod(proposal(old_stub_mm=apart_in * INCH_MM))
    outcome = outcomes(screened)["drill clear of the old stub"]
    assert (outcome is ScreenOutcome.FAIL) == meets


def test_a_condition_without_a_value_is_unknown_and_never_passes():
    screened = screen_replacement_rod(ReplacementRod(diameter_mm=ROD))
    assert set(outcomes(screened).values()) == {ScreenOutcome.UNKNOWN}
    assert screened.outcome is ScreenOutcome.UNKNOWN
    assert screened.strengths.breakout_n is None
    assert screened.strengths.least is None


def test_a_failed_condition_outweighs_an_unknown_one():
    screened = screen_replacement_rod(
        ReplacementRod(diameter_mm=ROD, concrete_age_days=3.0)
    )
    assert screened.outcome is ScreenOutcome.FAIL


def test_the_weakest_of_three_is_named():
    thread = find_thread(ROD)
    strengths = screen_replacement_rod(proposal(), thread, GRADES["36"]).strengths
    # 200 psi bond on 3/4 x 10 in is 4.7 kip, far under breakout and steel
    assert strengths.least == "bond"
    # indoors the default bond stress is 300 psi against 200
    indoors = screen_replacement_rod(
        proposal(outdoors=False), thread, GRADES["36"]
    ).strengths
    assert indoors.bond_n == pytest.approx(1.5 * strengths.bond_n)


def test_breakout_near_an_edge_is_reduced():
    strengths = screen_replacement_rod(proposal()).strengths
    assert strengths.edge_factor < 1.0
    assert strengths.breakout_at_edge_n == pytest.approx(
        strengths.breakout_n * strengths.edge_factor
    )


def test_every_condition_names_its_source():
    sources = [c.source for c in screen_replacement_rod(proposal()).conditions]
    assert sum("ACI 318-19" in source for source in sources) == 7
    assert sum("project choice" in source for source in sources) == 1


def test_it_is_headed_as_a_screen():
    assert screen_replacement_rod(proposal()).heading.startswith(
        "A screen, not a design"
    )


@pytest.mark.parametrize("bad", [{"diameter_mm": 0.0}, {"embedment_mm": 0.0}])
def test_sizes_that_cannot_be_are_refused(bad):
    with pytest.raises(EngineError):
        screen_replacement_rod(proposal(**bad))


@pytest.mark.parametrize(("edge", "least"), [(15.0, None), (30.0, "breakout")])
def test_no_strength_governs_where_an_edge_reduces_the_bond(edge, least):
    # 2 1/2 in rod, 10 in deep in 1000 psi: breakout 17 kip, bond 23.6 kip away from any
    # edge; ACI 318-19 17.6.5.1.2: within 25 in sqrt(1000 / 1100) = 23.8 in it is less
    rod = 2.5 * INCH_MM
    strengths = screen_replacement_rod(
        ReplacementRod(
            diameter_mm=rod,
            embedment_mm=10.0 * INCH_MM,
            edge_mm=edge * INCH_MM,
            concrete_strength_mpa=1000.0 * PSI_MPA,
            outdoors=False,
        ),
        find_thread(rod),
        GRADES["36"],
    ).strengths
    assert strengths.bond_edge_mm == pytest.approx(23.837 * INCH_MM, abs=0.02)
    assert strengths.breakout_at_edge_n < strengths.bond_n < strengths.steel_n
    assert strengths.least == least
