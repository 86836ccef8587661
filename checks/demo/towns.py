"""What towns, clubs and small trades have ordered in the demo."""

from functools import partial

from checks.demo import drawings, events
from checks.demo.lines import FEET, TAPE_1, TAPE_2, BuildingLine, JobLine

JOBS: tuple[JobLine, ...] = (
    JobLine(
        number="P-1041",
        name="Boat store and sail loft",
        customer="Marrowquay Boating Trust",
        site="Slip 3, Marrowquay",
        ships=-41,
        opened=-96,
        field="tamsin",
        engineer="ysolde",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Boat store", "75'", "50'", "3 @ 25'", "2 @ 25'"
                ),
                crew=TAPE_1,
                placed=-70,
                happens=events.stands,
            ),
            BuildingLine(
                document=drawings.hall("Sail loft", "60'", "40'", "3 @ 20'", "2 @ 20'"),
                crew=TAPE_2,
                placed=-66,
                happens=events.going_up,
            ),
        ),
    ),
    JobLine(
        number="P-1055",
        name="School gymnasium",
        customer="Lanternfield School Board",
        site="Playing field east, Lanternfield",
        ships=24,
        opened=-40,
        field="borja",
        engineer="ysolde",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Gymnasium", "100'", "80'", "4 @ 25'", "4 @ 20'"
                ),
                crew=TAPE_2,
                placed=-2,
                happens=events.poured,
            ),
        ),
    ),
    JobLine(
        number="P-1061",
        name="Kiln shed",
        customer="Two Herons Pottery",
        site="Low meadow, Hernsby",
        ships=3,
        opened=-33,
        field="borja",
        engineer="emeric",
        buildings=(
            BuildingLine(
                document=drawings.shed("Kiln shed"),
                crew=TAPE_2,
                placed=-14,
                happens=events.ready_to_ship,
            ),
        ),
    ),
    JobLine(
        number="P-1063",
        name="Cooperage",
        customer="Brindlewood Casks",
        site="Old tannery ground, Brindlewood",
        ships=9,
        opened=-45,
        field="tamsin",
        engineer="ysolde",
        buildings=(
            BuildingLine(
                document=drawings.ell("Cooperage"),
                crew=TAPE_1,
                placed=-15,
                happens=partial(events.waits, mistakes=("setbacks to the rod's edge",)),
            ),
        ),
    ),
    JobLine(
        number="P-1066",
        name="Boundary store",
        customer="Millgarth Hardware",
        site="Wedge lot, Millgarth Lane",
        ships=7,
        opened=-42,
        field="borja",
        engineer="emeric",
        buildings=(
            BuildingLine(
                document=drawings.skewed("Boundary store"),
                crew=TAPE_2,
                placed=-18,
                happens=events.to_be_carried_out,
            ),
        ),
    ),
    JobLine(
        number="P-1068",
        name="Fire station",
        customer="Threegable Parish",
        site="Upper road, Threegable",
        ships=-12,
        opened=-80,
        field="tamsin",
        engineer="emeric",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Appliance bay", "50'", "45'", "2 @ 25'", "3 @ 15'"
                ),
                crew=TAPE_1,
                placed=-48,
                happens=events.going_up,
            ),
            BuildingLine(
                document=drawings.hall(
                    "Hose tower annex", "24'", "20'", "2 @ 12'", "2 @ 10'"
                ),
                crew=TAPE_1,
                placed=-38,
                happens=events.may_stand,
            ),
        ),
    ),
    JobLine(
        number="P-1070",
        name="Barley barn and machine store",
        customer="Windlecross Growers",
        site="Home field, Windlecross",
        ships=30,
        opened=-25,
        field="borja",
        engineer="ysolde",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Barley barn", "100'", "60'", "5 @ 20'", "3 @ 20'"
                ),
                crew=FEET,
                happens=events.being_laid_out,
            ),
            BuildingLine(
                document=drawings.hall(
                    "Machine store", "60'", "40'", "3 @ 20'", "2 @ 20'"
                ),
                crew=FEET,
                happens=events.nothing_yet,
            ),
        ),
    ),
    JobLine(
        number="P-1075",
        name="Ice rink",
        customer="Farcommon Skating Club",
        site="Common end, Farcommon",
        ships=75,
        opened=-8,
        field="borja",
        engineer="emeric",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Rink hall",
                    "210'",
                    "110'",
                    "8 @ 26' 3\"",
                    "5 @ 22'",
                    heavy=True,
                    strength="4000 psi",
                    basis="aci-117-2010",
                ),
                crew=TAPE_1,
                happens=events.nothing_yet,
            ),
        ),
    ),
)
