"""Cautions that accompany a remedy, worded the same wherever they appear."""

SCREENING = (
    "Screening arithmetic, not design: the engineer of record, the manufacturer's"
    " drawings and local codes govern."
)
RODS = (
    "Rods are not cut, bent, heated, welded or replaced without the engineer's"
    " approval, and the erector gets written notice of every such change"
    " (29 CFR 1926.755(b), by 1926.752(a)(2); 1926.758(a) takes a systems-engineered"
    " metal building out of 1926.755 itself: ask which of the two governs)."
)
NEW_PLATE = (
    "What moved holes do to the column's flanges, web and their welds is not known"
    " here: the fabricator checks that no hole, nut or washer fouls them."
)
ECCENTRIC_RODS = (
    "Rods that stand otherwise about the column than designed are loaded otherwise, and"
    " so is the plate: the engineer checks both."
)
PLATE_GROWTH = (
    "A larger plate may foul girts, sheeting, the notch or the edge of the concrete:"
    " check before it is cut."
)
WASHER = "A slotted or reamed hole needs the washer the engineer orders."
DRILLING = "Drilling: silica dust, reinforcement, embedded services."
ADHESIVE = "Adhesive: hole cleaning, concrete temperature and cure time decide."
UNDER_PLATE = "Nobody under a plate while shims go in."
NOTICES = (
    "No column is set before the erector has the written notices"
    " (29 CFR 1926.752(a) and (b))."
)
FOUR_RODS = (
    "Fewer than four anchor rods: each structural column needs at least four"
    " (29 CFR 1926.758(b))."
)
