"""All models of the shop app, gathered for Django."""

from shop.catalogue.models import CatalogueChange, CatalogueRules
from shop.consignments.models import Arrival, Consignment, ConsignmentLine
from shop.counting.models import CountLine, CycleCount
from shop.ledger.models import Movement, Requirement, Reservation, UsedReservation
from shop.ledger.receipt_terms import ReceiptTerms
from shop.lots.models import Container, Lot, Placement
from shop.materials.components import SystemComponent
from shop.materials.models import LearnedCode, Material, Pack, ResinSystem
from shop.materials.suppliers import Supplier, SupplierClosure
from shop.proposals.models import PurchaseProposal
from shop.purchasing.models import OrderMail, PurchaseOrder, PurchaseOrderLine
from shop.recalls.models import Recall, RecalledLot
from shop.release_agents.models import ReleaseClash, ReleaseRecipe
from shop.sites.models import (
    ClosedDay,
    DayChange,
    ExpectedTemperature,
    Location,
    Mixer,
    Outage,
    Person,
    Place,
    Scale,
    Shift,
    StorageSpell,
)
from shop.tools.inspection_models import (
    Checkpoint,
    RepairLot,
    RetirementReason,
    ToolFinding,
)
from shop.tools.models import Tool, ToolEvent, ToolFamily, ToolHalf
from shop.waste.models import WasteEntry, WasteWithdrawal

__all__ = [
    "Arrival",
    "CatalogueChange",
    "CatalogueRules",
    "Checkpoint",
    "ClosedDay",
    "Consignment",
    "ConsignmentLine",
    "Container",
    "CountLine",
    "CycleCount",
    "DayChange",
    "ExpectedTemperature",
    "LearnedCode",
    "Location",
    "Lot",
    "Material",
    "Mixer",
    "Movement",
    "OrderMail",
    "Outage",
    "Pack",
    "Person",
    "Place",
    "Placement",
    "PurchaseOrder",
    "PurchaseOrderLine",
    "PurchaseProposal",
    "Recall",
    "RecalledLot",
    "ReceiptTerms",
    "ReleaseClash",
    "ReleaseRecipe",
    "RepairLot",
    "Requirement",
    "Reservation",
    "ResinSystem",
    "RetirementReason",
    "Scale",
    "Shift",
    "StorageSpell",
    "Supplier",
    "SupplierClosure",
    "SystemComponent",
    "Tool",
    "ToolEvent",
    "ToolFamily",
    "ToolFinding",
    "ToolHalf",
    "UsedReservation",
    "WasteEntry",
    "WasteWithdrawal",
]
