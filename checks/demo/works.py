"""What firms have ordered in the demo: hangars, halls and workshops."""

from functools import partial

from checks.demo import drawings, events
from checks.demo.lines import (
    FEET,
    METRES,
    METRIC,
    TAPE_1,
    TAPE_2,
    BuildingLine,
    JobLine,
)

JOBS: tuple[JobLine, ...] = (
    JobLine(
        number="P-1047",
        name="Maintenance hangar",
        customer="Ardenfell Air Cooperative",
        site="North apron, Ardenfell strip",
        ships=5,
        opened=-60,
        field="borja",
        engineer="emeric",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Long hangar",
                    "600'",
                    "120'",
                    "24 @ 25'",
                    "6 @ 20'",
                    heavy=True,
                    strength="4000 psi",
                ),
                crew=TAPE_1,
                placed=-16,
                happens=events.long_hangar,
            ),
        ),
    ),
    JobLine(
        number="P-1052",
        name="Sorting hall and weighbridge office",
        customer="Copperlane Reclaim",
        site="Pit 2, Copperlane",
        ships=2,
        opened=-58,
        field="tamsin",
        engineer="ysolde",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Sorting hall",
                    "125'",
                    "70'",
                    "5 @ 25'",
                    "20', 30', 20'",
                    web_ends=True,
                ),
                crew=FEET,
                placed=-24,
                happens=events.may_ship,
            ),
            BuildingLine(
                document=drawings.shed("Weighbridge office"),
                crew=TAPE_1,
                placed=-20,
                happens=partial(events.waits, mistakes=("rod upside down",)),
            ),
        ),
    ),
    JobLine(
        number="P-1058",
        name="Tram workshop",
        customer="Vellmar City Lines",
        site="Depot B, Vellmar",
        ships=6,
        opened=-50,
        field="tamsin",
        engineer="emeric",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Workshop",
                    "30 m",
                    "18 m",
                    "5 @ 6 m",
                    "3 @ 6 m",
                    metric=True,
                    strength="25 MPa",
                    basis="en-1090-2-2008",
                ),
                crew=METRIC,
                placed=-21,
                happens=partial(events.waits, mistakes=("two lines exchanged",)),
            ),
            BuildingLine(
                document=drawings.hall(
                    "Wheel store",
                    "18 m",
                    "12 m",
                    "3 @ 6 m",
                    "2 @ 6 m",
                    metric=True,
                    strength="25 MPa",
                    web_ends=True,
                ),
                crew=METRES,
                placed=-19,
                happens=partial(events.waits, mistakes=("from the outer edge",)),
            ),
            BuildingLine(
                document=drawings.hall(
                    "Sand house",
                    "12 m",
                    "9 m",
                    "2 @ 6 m",
                    "2 @ 4.5 m",
                    metric=True,
                    strength="25 MPa",
                ),
                crew=METRES,
                placed=-40,
                happens=events.ready_to_ship,
            ),
        ),
    ),
    JobLine(
        number="P-1072",
        name="Foundry annex",
        customer="Cinderholt Castings",
        site="Bay 9, Cinderholt works",
        ships=4,
        opened=-44,
        field="tamsin",
        engineer="ysolde",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Core store",
                    "80'",
                    "50'",
                    "4 @ 20'",
                    "2 @ 25'",
                    web_ends=True,
                    basis="aisc-303-2010",
                ),
                crew=TAPE_1,
                placed=-17,
                happens=events.misplaced_pattern,
            ),
            BuildingLine(
                document=drawings.hall(
                    "Pattern loft",
                    "60'",
                    "36'",
                    "3 @ 20'",
                    "3 @ 12'",
                    web_ends=True,
                    basis="aisc-303-2016",
                ),
                crew=TAPE_2,
                placed=-13,
                happens=partial(events.waits, mistakes=("to the flange",)),
            ),
        ),
    ),
    JobLine(
        number="P-1077",
        name="Freight sheds",
        customer="Tollmere Haulage",
        site="Sidings 4 to 6, Tollmere",
        ships=1,
        opened=-52,
        field="borja",
        engineer="ysolde",
        buildings=(
            BuildingLine(
                document=drawings.hall("Shed 4", "80'", "40'", "4 @ 20'", "2 @ 20'"),
                crew=TAPE_2,
                placed=-23,
                happens=events.ready_to_ship,
            ),
            BuildingLine(
                document=drawings.hall("Shed 5", "80'", "40'", "4 @ 20'", "2 @ 20'"),
                crew=TAPE_2,
                placed=-22,
                happens=partial(events.waits, mistakes=("set-up knocked",)),
            ),
            BuildingLine(
                document=drawings.hall(
                    "Shed 6", "80'", "40'", "4 @ 20'", "2 @ 20'", web_ends=True
                ),
                crew=TAPE_1,
                placed=-20,
                happens=events.turned_and_foot_mark,
            ),
        ),
    ),
    JobLine(
        number="P-1079",
        name="Weighhouse",
        customer="Quarrytop Aggregates",
        site="Gate yard, Quarrytop",
        ships=19,
        opened=-20,
        field="tamsin",
        engineer="emeric",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Weighhouse", "40'", "30'", "2 @ 20'", "2 @ 15'"
                ),
                crew=TAPE_1,
                happens=events.wrong_before_the_pour,
            ),
        ),
    ),
    JobLine(
        number="P-1080",
        name="Dairy extension",
        customer="Pennywhistle Creamery",
        site="Behind the churn house, Pennymere",
        ships=12,
        opened=-30,
        field="tamsin",
        engineer="ysolde",
        buildings=(
            BuildingLine(
                document=drawings.hall(
                    "Cold store", "60'", "44'", "3 @ 20'", "2 @ 22'"
                ),
                crew=TAPE_2,
                placed=-9,
                happens=events.disagreeing,
            ),
        ),
    ),
)
