"""What farms and small makers have ordered in the demo, one small building each."""

from collections.abc import Mapping
from functools import partial
from typing import Any

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

SMALL: Mapping[str, Any] = {"metric": True, "strength": "25 MPa"}


def _job(
    number: int,
    name: str,
    customer: str,
    site: str,
    days: tuple[int | None, int],
    building: DemoBuilding,
) -> DemoJob:
    """One building under the job's own name; days of shipping and of opening."""
    ships, opened = days
    return DemoJob(
        number=f"P-{number}",
        name=name,
        customer=customer,
        site=site,
        ship_day=ships,
        opened_day=opened,
        field_lead="tamsin" if number % 2 else "borja",
        engineer="ysolde" if number % 3 else "emeric",
        buildings=(building,),
    )


JOBS: tuple[DemoJob, ...] = (
    _job(
        1081,
        "Seed cleaning shed",
        "Oddenmoor Growers",
        "Long headland, Oddenmoor",
        (13, -46),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Seed shed", "60'", "40'", "3 @ 20'", "2 @ 20'"
            ),
            crew=SIXTEENTHS_CREW,
            placed_day=-15,
            history=histories.settle_before_shipping,
        ),
    ),
    _job(
        1082,
        "Ferry stage store",
        "Netherquay Landing",
        "Lower steps, Netherquay",
        (-38, -104),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Stage store", "40'", "30'", "2 @ 20'", "2 @ 15'"
            ),
            crew=SECOND_SIXTEENTHS_CREW,
            placed_day=-71,
            history=histories.complete_building,
        ),
    ),
    _job(
        1083,
        "Grain dryer house",
        "Quernside Mills",
        "Mill yard, Quernside",
        (16, -38),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Dryer house", "50'", "40'", "2 @ 25'", "2 @ 20'"
            ),
            crew=DECIMAL_FEET_CREW,
            placed_day=-12,
            history=partial(histories.leave_findings_open, mistakes=("foot misread",)),
        ),
    ),
    _job(
        1084,
        "Wool store",
        "Sallowby Fleece",
        "Sheepwash, Sallowby",
        (15, -40),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Wool store", "18 m", "12 m", "3 @ 6 m", "2 @ 6 m", **SMALL
            ),
            crew=MILLIMETRES_CREW,
            placed_day=-16,
            history=histories.settle_before_shipping,
        ),
    ),
    _job(
        1085,
        "Pump house",
        "Morrowfen Drainage Board",
        "Sluice two, Morrowfen",
        (22, -12),
        DemoBuilding(
            document=plan_documents.build_shed("Pump house"),
            crew=SIXTEENTHS_CREW,
            history=histories.leave_unmeasured,
        ),
    ),
    _job(
        1086,
        "Market canopy",
        "Thistlegate Traders",
        "Cross square, Thistlegate",
        (43, -9),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Canopy", "80'", "30'", "4 @ 20'", "2 @ 15'"
            ),
            crew=SECOND_SIXTEENTHS_CREW,
            history=histories.leave_unmeasured,
        ),
    ),
    _job(
        1087,
        "Stable and smithy",
        "Wrenhollow Livery",
        "Top paddock, Wrenhollow",
        (18, -35),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Stable", "60'", "30'", "3 @ 20'", "2 @ 15'"
            ),
            crew=DECIMAL_FEET_CREW,
            placed_day=-11,
            history=partial(
                histories.leave_findings_open,
                mistakes=("setback and offset exchanged",),
            ),
        ),
    ),
    _job(
        1088,
        "Salt barn",
        "Kestrelby Roads",
        "Depot north, Kestrelby",
        (29, -28),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Salt barn", "75'", "50'", "3 @ 25'", "2 @ 25'"
            ),
            crew=SECOND_SIXTEENTHS_CREW,
            placed_day=-2,
            history=histories.pour_recently,
        ),
    ),
    _job(
        1089,
        "Book repository",
        "Lowenshaw Reading Room",
        "Back lane, Lowenshaw",
        (-18, -84),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Repository", "15 m", "12 m", "3 @ 5 m", "2 @ 6 m", **SMALL
            ),
            crew=METRES_CREW,
            placed_day=-49,
            history=histories.plumb_in_part,
        ),
    ),
    _job(
        1090,
        "Bottling shed",
        "Hollintarn Springs",
        "Well head, Hollintarn",
        (20, -52),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Bottling shed", "60'", "40'", "3 @ 20'", "2 @ 20'"
            ),
            crew=SIXTEENTHS_CREW,
            placed_day=-21,
            history=histories.settle_before_shipping,
        ),
    ),
    _job(
        1091,
        "Peat store",
        "Ferrowick Fuels",
        "Siding end, Ferrowick",
        (17, -41),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Peat store", "75'", "40'", "3 @ 25'", "2 @ 20'"
            ),
            crew=SECOND_SIXTEENTHS_CREW,
            placed_day=-14,
            history=partial(
                histories.leave_findings_open, mistakes=("offsets to the rod's edge",)
            ),
        ),
    ),
    _job(
        1092,
        "Band hall",
        "Dunmarrow Silver Players",
        "Chapel croft, Dunmarrow",
        (-44, -112),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Band hall", "50'", "40'", "2 @ 25'", "2 @ 20'"
            ),
            crew=SIXTEENTHS_CREW,
            placed_day=-72,
            history=histories.complete_building,
        ),
    ),
    _job(
        1093,
        "Net loft",
        "Pellwater Crabbers",
        "Drying ground, Pellwater",
        (None, -5),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Net loft", "40'", "24'", "2 @ 20'", "2 @ 12'"
            ),
            crew=SIXTEENTHS_CREW,
            history=histories.leave_unmeasured,
        ),
    ),
    _job(
        1094,
        "Honey house",
        "Yarrowmede Apiaries",
        "Heath gate, Yarrowmede",
        (21, -37),
        DemoBuilding(
            document=plan_documents.build_shed("Honey house"),
            crew=SECOND_SIXTEENTHS_CREW,
            placed_day=-13,
            history=histories.settle_before_shipping,
        ),
    ),
    _job(
        1095,
        "Cider house",
        "Brackenthrope Orchards",
        "Press yard, Brackenthrope",
        (-9, -74),
        DemoBuilding(
            document=plan_documents.build_hall(
                "Cider house", "60'", "40'", "3 @ 20'", "2 @ 20'"
            ),
            crew=DECIMAL_FEET_CREW,
            placed_day=-39,
            history=histories.release_columns,
        ),
    ),
)
