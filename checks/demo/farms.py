"""What farms and small makers have ordered in the demo, one small building each."""

from collections.abc import Mapping
from functools import partial
from typing import Any

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

SMALL: Mapping[str, Any] = {"metric": True, "strength": "25 MPa"}


def _job(
    number: int,
    name: str,
    customer: str,
    site: str,
    days: tuple[int | None, int],
    building: BuildingLine,
) -> JobLine:
    """One building under the job's own name; days of shipping and of opening."""
    ships, opened = days
    return JobLine(
        number=f"P-{number}",
        name=name,
        customer=customer,
        site=site,
        ships=ships,
        opened=opened,
        field="tamsin" if number % 2 else "borja",
        engineer="ysolde" if number % 3 else "emeric",
        buildings=(building,),
    )


JOBS: tuple[JobLine, ...] = (
    _job(
        1081,
        "Seed cleaning shed",
        "Oddenmoor Growers",
        "Long headland, Oddenmoor",
        (13, -46),
        BuildingLine(
            document=drawings.hall("Seed shed", "60'", "40'", "3 @ 20'", "2 @ 20'"),
            crew=TAPE_1,
            placed=-15,
            happens=events.ready_to_ship,
        ),
    ),
    _job(
        1082,
        "Ferry stage store",
        "Netherquay Landing",
        "Lower steps, Netherquay",
        (-38, -104),
        BuildingLine(
            document=drawings.hall("Stage store", "40'", "30'", "2 @ 20'", "2 @ 15'"),
            crew=TAPE_2,
            placed=-71,
            happens=events.stands,
        ),
    ),
    _job(
        1083,
        "Grain dryer house",
        "Quernside Mills",
        "Mill yard, Quernside",
        (16, -38),
        BuildingLine(
            document=drawings.hall("Dryer house", "50'", "40'", "2 @ 25'", "2 @ 20'"),
            crew=FEET,
            placed=-12,
            happens=partial(events.waits, mistakes=("foot misread",)),
        ),
    ),
    _job(
        1084,
        "Wool store",
        "Sallowby Fleece",
        "Sheepwash, Sallowby",
        (15, -40),
        BuildingLine(
            document=drawings.hall(
                "Wool store", "18 m", "12 m", "3 @ 6 m", "2 @ 6 m", **SMALL
            ),
            crew=METRIC,
            placed=-16,
            happens=events.ready_to_ship,
        ),
    ),
    _job(
        1085,
        "Pump house",
        "Morrowfen Drainage Board",
        "Sluice two, Morrowfen",
        (22, -12),
        BuildingLine(
            document=drawings.shed("Pump house"),
            crew=TAPE_1,
            happens=events.nothing_yet,
        ),
    ),
    _job(
        1086,
        "Market canopy",
        "Thistlegate Traders",
        "Cross square, Thistlegate",
        (43, -9),
        BuildingLine(
            document=drawings.hall("Canopy", "80'", "30'", "4 @ 20'", "2 @ 15'"),
            crew=TAPE_2,
            happens=events.nothing_yet,
        ),
    ),
    _job(
        1087,
        "Stable and smithy",
        "Wrenhollow Livery",
        "Top paddock, Wrenhollow",
        (18, -35),
        BuildingLine(
            document=drawings.hall("Stable", "60'", "30'", "3 @ 20'", "2 @ 15'"),
            crew=FEET,
            placed=-11,
            happens=partial(events.waits, mistakes=("setback and offset exchanged",)),
        ),
    ),
    _job(
        1088,
        "Salt barn",
        "Kestrelby Roads",
        "Depot north, Kestrelby",
        (29, -28),
        BuildingLine(
            document=drawings.hall("Salt barn", "75'", "50'", "3 @ 25'", "2 @ 25'"),
            crew=TAPE_2,
            placed=-2,
            happens=events.poured,
        ),
    ),
    _job(
        1089,
        "Book repository",
        "Lowenshaw Reading Room",
        "Back lane, Lowenshaw",
        (-18, -84),
        BuildingLine(
            document=drawings.hall(
                "Repository", "15 m", "12 m", "3 @ 5 m", "2 @ 6 m", **SMALL
            ),
            crew=METRES,
            placed=-49,
            happens=events.going_up,
        ),
    ),
    _job(
        1090,
        "Bottling shed",
        "Hollintarn Springs",
        "Well head, Hollintarn",
        (20, -52),
        BuildingLine(
            document=drawings.hall("Bottling shed", "60'", "40'", "3 @ 20'", "2 @ 20'"),
            crew=TAPE_1,
            placed=-21,
            happens=events.ready_to_ship,
        ),
    ),
    _job(
        1091,
        "Peat store",
        "Ferrowick Fuels",
        "Siding end, Ferrowick",
        (17, -41),
        BuildingLine(
            document=drawings.hall("Peat store", "75'", "40'", "3 @ 25'", "2 @ 20'"),
            crew=TAPE_2,
            placed=-14,
            happens=partial(events.waits, mistakes=("offsets to the rod's edge",)),
        ),
    ),
    _job(
        1092,
        "Band hall",
        "Dunmarrow Silver Players",
        "Chapel croft, Dunmarrow",
        (-44, -112),
        BuildingLine(
            document=drawings.hall("Band hall", "50'", "40'", "2 @ 25'", "2 @ 20'"),
            crew=TAPE_1,
            placed=-72,
            happens=events.stands,
        ),
    ),
    _job(
        1093,
        "Net loft",
        "Pellwater Crabbers",
        "Drying ground, Pellwater",
        (None, -5),
        BuildingLine(
            document=drawings.hall("Net loft", "40'", "24'", "2 @ 20'", "2 @ 12'"),
            crew=TAPE_1,
            happens=events.nothing_yet,
        ),
    ),
    _job(
        1094,
        "Honey house",
        "Yarrowmede Apiaries",
        "Heath gate, Yarrowmede",
        (21, -37),
        BuildingLine(
            document=drawings.shed("Honey house"),
            crew=TAPE_2,
            placed=-13,
            happens=events.ready_to_ship,
        ),
    ),
    _job(
        1095,
        "Cider house",
        "Brackenthrope Orchards",
        "Press yard, Brackenthrope",
        (-9, -74),
        BuildingLine(
            document=drawings.hall("Cider house", "60'", "40'", "3 @ 20'", "2 @ 20'"),
            crew=FEET,
            placed=-39,
            happens=events.may_stand,
        ),
    ),
)
