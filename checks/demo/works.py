"""What firms have ordered in the demo: hangars, halls and workshops."""

from functools import partial

from checks.demo import histories, plan_documents
from checks.demo.catalogue import (
    DECIMAL_FEET_CREW,
    METRES_CREW,
    MILLIMETRES_CREW,
    SECOND_SIXTEENTHS_CREW,
    SIXTEENTHS_CREW,
    DemoBuilding,
    DemoJob,
)

JOBS: tuple[DemoJob, ...] = (
    DemoJob(
        number="P-1047",
        name="Maintenance hangar",
        customer="Ardenfell Air Cooperative",
        site="North apron, Ardenfell strip",
        ship_day=5,
        opened_day=-60,
        field_lead="borja",
        engineer="emeric",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Long hangar",
                    "600'",
                    "120'",
                    "24 @ 25'",
                    "6 @ 20'",
                    heavy=True,
                    strength="4000 psi",
                ),
                crew=SIXTEENTHS_CREW,
                placed_day=-16,
                history=histories.survey_long_hangar,
            ),
        ),
    ),
    DemoJob(
        number="P-1052",
        name="Sorting hall and weighbridge office",
        customer="Copperlane Reclaim",
        site="Pit 2, Copperlane",
        ship_day=2,
        opened_day=-58,
        field_lead="tamsin",
        engineer="ysolde",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Sorting hall",
                    "125'",
                    "70'",
                    "5 @ 25'",
                    "20', 30', 20'",
                    web_ends=True,
                ),
                crew=DECIMAL_FEET_CREW,
                placed_day=-24,
                history=histories.release_steel,
            ),
            DemoBuilding(
                document=plan_documents.build_shed("Weighbridge office"),
                crew=SIXTEENTHS_CREW,
                placed_day=-20,
                history=partial(
                    histories.leave_findings_open, mistakes=("rod upside down",)
                ),
            ),
        ),
    ),
    DemoJob(
        number="P-1058",
        name="Tram workshop",
        customer="Vellmar City Lines",
        site="Depot B, Vellmar",
        ship_day=6,
        opened_day=-50,
        field_lead="tamsin",
        engineer="emeric",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Workshop",
                    "30 m",
                    "18 m",
                    "5 @ 6 m",
                    "3 @ 6 m",
                    metric=True,
                    strength="25 MPa",
                    basis="en-1090-2-2008",
                ),
                crew=MILLIMETRES_CREW,
                placed_day=-21,
                history=partial(
                    histories.leave_findings_open, mistakes=("two lines exchanged",)
                ),
            ),
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Wheel store",
                    "18 m",
                    "12 m",
                    "3 @ 6 m",
                    "2 @ 6 m",
                    metric=True,
                    strength="25 MPa",
                    web_ends=True,
                ),
                crew=METRES_CREW,
                placed_day=-19,
                history=partial(
                    histories.leave_findings_open, mistakes=("from the outer edge",)
                ),
            ),
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Sand house",
                    "12 m",
                    "9 m",
                    "2 @ 6 m",
                    "2 @ 4.5 m",
                    metric=True,
                    strength="25 MPa",
                ),
                crew=METRES_CREW,
                placed_day=-40,
                history=histories.settle_before_shipping,
            ),
        ),
    ),
    DemoJob(
        number="P-1072",
        name="Foundry annex",
        customer="Cinderholt Castings",
        site="Bay 9, Cinderholt works",
        ship_day=4,
        opened_day=-44,
        field_lead="tamsin",
        engineer="ysolde",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Core store",
                    "80'",
                    "50'",
                    "4 @ 20'",
                    "2 @ 25'",
                    web_ends=True,
                    basis="aisc-303-2010",
                ),
                crew=SIXTEENTHS_CREW,
                placed_day=-17,
                history=histories.misplace_pattern,
            ),
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Pattern loft",
                    "60'",
                    "36'",
                    "3 @ 20'",
                    "3 @ 12'",
                    web_ends=True,
                    basis="aisc-303-2016",
                ),
                crew=SECOND_SIXTEENTHS_CREW,
                placed_day=-13,
                history=partial(
                    histories.leave_findings_open, mistakes=("to the flange",)
                ),
            ),
        ),
    ),
    DemoJob(
        number="P-1077",
        name="Freight sheds",
        customer="Tollmere Haulage",
        site="Sidings 4 to 6, Tollmere",
        ship_day=1,
        opened_day=-52,
        field_lead="borja",
        engineer="ysolde",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Shed 4", "80'", "40'", "4 @ 20'", "2 @ 20'"
                ),
                crew=SECOND_SIXTEENTHS_CREW,
                placed_day=-23,
                history=histories.settle_before_shipping,
            ),
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Shed 5", "80'", "40'", "4 @ 20'", "2 @ 20'"
                ),
                crew=SECOND_SIXTEENTHS_CREW,
                placed_day=-22,
                history=partial(
                    histories.leave_findings_open, mistakes=("set-up knocked",)
                ),
            ),
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Shed 6", "80'", "40'", "4 @ 20'", "2 @ 20'", web_ends=True
                ),
                crew=SIXTEENTHS_CREW,
                placed_day=-20,
                history=histories.repeat_with_mistakes,
            ),
        ),
    ),
    DemoJob(
        number="P-1079",
        name="Weighhouse",
        customer="Quarrytop Aggregates",
        site="Gate yard, Quarrytop",
        ship_day=19,
        opened_day=-20,
        field_lead="tamsin",
        engineer="emeric",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Weighhouse", "40'", "30'", "2 @ 20'", "2 @ 15'"
                ),
                crew=SIXTEENTHS_CREW,
                history=histories.misplace_template,
            ),
        ),
    ),
    DemoJob(
        number="P-1080",
        name="Dairy extension",
        customer="Pennywhistle Creamery",
        site="Behind the churn house, Pennymere",
        ship_day=12,
        opened_day=-30,
        field_lead="tamsin",
        engineer="ysolde",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Cold store", "60'", "44'", "3 @ 20'", "2 @ 22'"
                ),
                crew=SECOND_SIXTEENTHS_CREW,
                placed_day=-9,
                history=histories.contradict_wall_reading,
            ),
        ),
    ),
)
