import pytest
from django.urls import reverse

from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.models import Building
from jobs.plans.plan_cache import load_plan
from jobs.plans.rectangle_form import RectangleForm, append_unit

TYPED = {
    "name": "Seed store",
    "length_unit": "ft",
    "width": "44",
    "length": "83' 6\"",
    "bays": "19' 3\", 2 @ 22 1/2, 19' 3\"",
    "frame_gage": '5"',
    "frame_first_row": '7 1/2"',
    "frame_row_spacing": '4"',
    "frame_rod": '7/8"',
    "frame_hole": '1 1/16"',
    "frame_projection": '3 3/4"',
    "frame_rows": "2",
    "basis": "metal-building-practice",
    "note": "sheet A1",
}
ENDWALL = {
    "endwall_spacing": "14', 16', 14'",
    "endwall_gage": '4"',
    "endwall_first_row": '5"',
    "endwall_row_spacing": '4"',
    "endwall_rod": '5/8"',
    "endwall_hole": '13/16"',
}


def form_of(**changes) -> RectangleForm:
    form = RectangleForm(TYPED | changes)
    form.is_valid()
    return form


@pytest.fixture
def page(client, operations, job):
    client.force_login(operations)
    return lambda name, data: client.post(reverse(f"jobs:{name}", args=[job.pk]), data)


def test_what_is_typed_becomes_the_plan(page, job):
    response = page("new_building", TYPED | ENDWALL)
    building = job.buildings.get()
    assert response.headers["Location"] == reverse("jobs:plan", args=[building.pk])
    revision = building.current_revision()
    plan = load_plan(revision)
    assert (revision.note, plan.name) == ("sheet A1", "Seed store")
    assert (plan.outline[2].x, plan.outline[2].y) == pytest.approx(
        (83.5 * 304.8, 44 * 304.8)
    )
    assert len(plan.positions) == 6 + 4
    assert building.required_checks == sum(c.required for c in build_check_sheet(plan))


@pytest.mark.parametrize(
    ("typed", "unit", "expected"),
    [
        ("25", "ft", "25 ft"),
        ("25, 3 @ 20", "ft", "25 ft, 3 @ 20 ft"),
        ("3@7.5;6", "m", "3@7.5 m;6 m"),
        ("4 1/2", "in", "4 1/2 in"),
        ("3 @ 25', 20", "ft", "3 @ 25', 20 ft"),
        ("7.125 m", "ft", "7.125 m"),
        ("31' 7", "ft", "31' 7"),
    ],
)
def test_a_number_alone_takes_the_unit_of_the_page(typed, unit, expected):
    assert append_unit(typed, unit) == expected


def test_the_same_building_in_metric_and_in_feet_is_the_same_plan():
    feet = form_of(width="50", length="100", bays="4 @ 25")
    metric = form_of(
        length_unit="m", width="15.24", length="30.48", bays="4 @ 7.62", name="Seed"
    )
    outlines = [
        [(corner.x, corner.y) for corner in form.build_preview().plan.outline]
        for form in (feet, metric)
    ]
    assert outlines[0] == outlines[1]


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("width", "wide", "7.125 m"),
        ("width", "0", "greater than zero"),
        ("width", "-44", "greater than zero"),
        ("length", "31' 14\"", "must be under 12"),
        ("bays", "3 @ 20'", "less than the length of"),
        ("bays", "20', x", "Space 2"),
        ("frame_hole", '3/4"', "smaller than the rod"),
        ("frame_gage", "", "required"),
        ("frame_rows", "40", "less than or equal to 10"),
        ("notch_width", '1 1/2"', "notch needs its width and its depth"),
        ("strength", "3000", "3000 psi"),
        ("endwall_gage", '4"', "required"),
        ("corner_inset", '6"', "required"),
        ("name", "", "required"),
        ("name", "a\x00b", "Null characters"),
        ("basis", "as I like", "Select a valid choice"),
        ("length_unit", "cubit", "Select a valid choice"),
    ],
)
def test_what_is_wrong_stands_beside_a_field_with_what_would_be_right(
    field, value, says, page, job
):
    response = page("new_building", TYPED | {field: value})
    assert response.status_code == 400
    errors = response.context["form"].errors
    assert says in " ".join(str(each) for each in errors.values())
    near = {"notch_width": "notch_depth", "corner_inset": "corner_gage"}
    near["endwall_gage"] = "endwall_spacing"
    assert near.get(field, field) in errors
    assert not Building.objects.exists()


def test_nothing_typed_is_lost_on_an_error(page):
    typed = TYPED | ENDWALL | {"width": "wide & windy"}
    text = page("new_building", typed).content.decode()
    for value in typed.values():
        escaped = value.replace("&", "&amp;").replace("'", "&#x27;")
        assert escaped.replace('"', "&quot;") in text


def test_an_endwall_pattern_without_its_spaces_is_not_dropped_silently():
    typed = {key: value for key, value in ENDWALL.items() if key != "endwall_spacing"}
    assert "endwall_spacing" in form_of(**typed).errors


def test_nothing_is_drawn_before_width_and_length_are_known(page):
    response = page("preview_building", {"width": "44"})
    assert response.status_code == 200
    assert "<svg" not in response.content.decode()


def test_the_outline_is_drawn_while_the_rest_is_still_open(page):
    response = page("preview_building", {"width": "44'", "length": "80'"})
    text = response.content.decode()
    assert "plan-steel-line" in text
    assert "plan-rod" not in text
    assert "Still required" in text
    assert "errorlist" not in text  # what is blank is not wrong yet


def test_frame_lines_are_drawn_before_their_rods_are_known(page):
    known = {name: TYPED[name] for name in ("width", "length", "bays", "length_unit")}
    text = page("preview_building", known).content.decode()
    assert text.count('class="plan-position"') == 6
    assert "plan-rod" not in text


def test_the_preview_of_the_whole_counts_the_checks(page):
    text = page("preview_building", TYPED | ENDWALL).content.decode()
    assert "10 positions, 40 rods" in text
    assert "required checks" in text
    assert text.count('class="plan-rod"') == 40


def test_the_preview_puts_each_error_at_its_field_and_clears_the_others(page):
    text = page("preview_building", TYPED | {"bays": "nine"}).content.decode()
    wrong = text.partition('id="errors_bays"')[2].partition("</div>")[0]
    assert "Space 1" in wrong
    right = text.partition('id="errors_width"')[2].partition("</div>")[0]
    assert "errorlist" not in right


def test_the_plan_stays_drawn_while_a_notch_lacks_its_depth(page):
    shown = page("preview_building", TYPED | {"notch_width": '1 1/2"'})
    preview = shown.context["preview"]
    assert len(preview.plan.positions) == 6
    assert preview.plan.notch is None
    assert "Still required: notch depth." in shown.content.decode()


def test_fewer_than_four_rods_to_a_column_are_cautioned(page):
    text = page("preview_building", TYPED | {"frame_rows": "1"}).content.decode()
    assert "fewer than four rods" in text


def test_a_taken_name_is_told_beside_the_name(page, job):
    page("new_building", TYPED)
    response = page("new_building", TYPED)
    assert "already has a building called" in str(response.context["form"].errors)
    assert job.buildings.count() == 1


def test_doubts_about_the_plan_are_shown_before_it_is_saved(page, job):
    short = TYPED | {"frame_projection": '1 1/2"', "frame_thickness": '1"'}
    assert "Check the plan" in page("preview_building", short).content.decode()
    # Without a script the first save shows them, and the second saves.
    response = page("new_building", short)
    assert response.status_code == 200
    text = response.content.decode()
    assert "Check the plan" in text
    assert not job.buildings.exists()
    assert 'name="warned"' in text
    page("new_building", short | {"warned": "yes"})
    assert job.buildings.count() == 1


def test_a_plan_without_doubts_shows_none(page):
    assert "Check the plan" not in page("preview_building", TYPED).content.decode()


def test_the_state_of_the_steel_is_entered_with_the_plan(page, job):
    page("new_building", TYPED | {"steel": "detailing"})
    assert job.buildings.get().steel == "detailing"
