"""What towns, clubs and small trades have ordered in the demo."""

from functools import partial

from checks.demo import histories, plan_documents
from checks.demo.catalogue import (
    DECIMAL_FEET_CREW,
    SECOND_SIXTEENTHS_CREW,
    SIXTEENTHS_CREW,
    DemoBuilding,
    DemoJob,
)

JOBS: tuple[DemoJob, ...] = (
    DemoJob(
        number="P-1041",
        name="Boat store and sail loft",
        customer="Marrowquay Boating Trust",
        site="Slip 3, Marrowquay",
        ship_day=-41,
        opened_day=-96,
        field_lead="tamsin",
        engineer="ysolde",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Boat store", "75'", "50'", "3 @ 25'", "2 @ 25'"
                ),
                crew=SIXTEENTHS_CREW,
                placed_day=-70,
                history=histories.complete_building,
            ),
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Sail loft", "60'", "40'", "3 @ 20'", "2 @ 20'"
                ),
                crew=SECOND_SIXTEENTHS_CREW,
                placed_day=-66,
                history=histories.plumb_in_part,
            ),
        ),
    ),
    DemoJob(
        number="P-1055",
        name="School gymnasium",
        customer="Lanternfield School Board",
        site="Playing field east, Lanternfield",
        ship_day=24,
        opened_day=-40,
        field_lead="borja",
        engineer="ysolde",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Gymnasium", "100'", "80'", "4 @ 25'", "4 @ 20'"
                ),
                crew=SECOND_SIXTEENTHS_CREW,
                placed_day=-2,
                history=histories.pour_recently,
            ),
        ),
    ),
    DemoJob(
        number="P-1061",
        name="Kiln shed",
        customer="Two Herons Pottery",
        site="Low meadow, Hernsby",
        ship_day=3,
        opened_day=-33,
        field_lead="borja",
        engineer="emeric",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_shed("Kiln shed"),
                crew=SECOND_SIXTEENTHS_CREW,
                placed_day=-14,
                history=histories.settle_before_shipping,
            ),
        ),
    ),
    DemoJob(
        number="P-1063",
        name="Cooperage",
        customer="Brindlewood Casks",
        site="Old tannery ground, Brindlewood",
        ship_day=9,
        opened_day=-45,
        field_lead="tamsin",
        engineer="ysolde",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_l_shaped_hall("Cooperage"),
                crew=SIXTEENTHS_CREW,
                placed_day=-15,
                history=partial(
                    histories.leave_findings_open,
                    mistakes=("setbacks to the rod's edge",),
                ),
            ),
        ),
    ),
    DemoJob(
        number="P-1066",
        name="Boundary store",
        customer="Millgarth Hardware",
        site="Wedge lot, Millgarth Lane",
        ship_day=7,
        opened_day=-42,
        field_lead="borja",
        engineer="emeric",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_skewed_hall("Boundary store"),
                crew=SECOND_SIXTEENTHS_CREW,
                placed_day=-18,
                history=histories.leave_work_undone,
            ),
        ),
    ),
    DemoJob(
        number="P-1068",
        name="Fire station",
        customer="Threegable Parish",
        site="Upper road, Threegable",
        ship_day=-12,
        opened_day=-80,
        field_lead="tamsin",
        engineer="emeric",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Appliance bay", "50'", "45'", "2 @ 25'", "3 @ 15'"
                ),
                crew=SIXTEENTHS_CREW,
                placed_day=-48,
                history=histories.plumb_in_part,
            ),
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Hose tower annex", "24'", "20'", "2 @ 12'", "2 @ 10'"
                ),
                crew=SIXTEENTHS_CREW,
                placed_day=-38,
                history=histories.release_columns,
            ),
        ),
    ),
    DemoJob(
        number="P-1070",
        name="Barley barn and machine store",
        customer="Windlecross Growers",
        site="Home field, Windlecross",
        ship_day=30,
        opened_day=-25,
        field_lead="borja",
        engineer="ysolde",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Barley barn", "100'", "60'", "5 @ 20'", "3 @ 20'"
                ),
                crew=DECIMAL_FEET_CREW,
                history=histories.measure_forms_in_part,
            ),
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Machine store", "60'", "40'", "3 @ 20'", "2 @ 20'"
                ),
                crew=DECIMAL_FEET_CREW,
                history=histories.leave_unmeasured,
            ),
        ),
    ),
    DemoJob(
        number="P-1075",
        name="Ice rink",
        customer="Farcommon Skating Club",
        site="Common end, Farcommon",
        ship_day=75,
        opened_day=-8,
        field_lead="borja",
        engineer="emeric",
        buildings=(
            DemoBuilding(
                document=plan_documents.build_hall(
                    "Rink hall",
                    "210'",
                    "110'",
                    "8 @ 26' 3\"",
                    "5 @ 22'",
                    heavy=True,
                    strength="4000 psi",
                    basis="aci-117-2010",
                ),
                crew=SIXTEENTHS_CREW,
                history=histories.leave_unmeasured,
            ),
        ),
    ),
)
