"""All models of the shop app, gathered for Django."""

from shop.ledger.models import Movement, Requirement, Reservation
from shop.lots.models import Container, Lot
from shop.materials.models import Material, Pack, ResinSystem, Supplier
from shop.release_agents.models import ReleaseRecipe
from shop.sites.models import (
    ClosedDay,
    DayChange,
    ExpectedTemperature,
    Location,
    Mixer,
    Person,
    Place,
    Scale,
    Shift,
)
from shop.tools.models import Tool, ToolEvent, ToolHalf

__all__ = [
    "ClosedDay",
    "Container",
    "DayChange",
    "ExpectedTemperature",
    "Location",
    "Lot",
    "Material",
    "Mixer",
    "Movement",
    "Pack",
    "Person",
    "Place",
    "ReleaseRecipe",
    "Requirement",
    "Reservation",
    "ResinSystem",
    "Scale",
    "Shift",
    "Supplier",
    "Tool",
    "ToolEvent",
    "ToolHalf",
]
