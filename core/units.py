"""placeholder"""
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal
LengthUnit = Literal["in", "ft", "mm", "cm", "m"]
@dataclass(frozen=True, slots=True)
class Length:
    text: str
    mm: Decimal
    resolution_mm: Decimal
