"""All models of the planning app, gathered for Django."""

from planning.batches.models import (
    Batch,
    BatchCounter,
    BatchEntry,
    BatchLine,
    BatchPortion,
    Lift,
    SheetPrint,
    Weighing,
)
from planning.clocks.models import Cure, OvenStay, TemperatureReading, WrongReading
from planning.cures.models import Demould
from planning.deliveries.models import DeliveryLine, DeliveryNote
from planning.patterns.models import PatternMesh
from planning.pours.models import Pour, PourStep, PourStepMaterial, ToolOrder
from planning.reminders.models import (
    ChannelChoice,
    Delivery,
    DeliveryItem,
    Heartbeat,
    Reminder,
    ReminderSettings,
)
from planning.replacements.models import ReplacementDecision
from planning.routes.models import Route, RouteStep, RouteStepMaterial
from planning.rules.models import PlanningRules
from planning.schedule.models import WeekPlan
from planning.trials.models import PlanTrial
from planning.weigh_in.models import CastingQuarantine, GateRecord, WeighingAmendment

__all__ = [
    "Batch",
    "BatchCounter",
    "BatchEntry",
    "BatchLine",
    "BatchPortion",
    "CastingQuarantine",
    "ChannelChoice",
    "Cure",
    "Delivery",
    "DeliveryItem",
    "DeliveryLine",
    "DeliveryNote",
    "Demould",
    "GateRecord",
    "Heartbeat",
    "Lift",
    "OvenStay",
    "PatternMesh",
    "PlanTrial",
    "PlanningRules",
    "Pour",
    "PourStep",
    "PourStepMaterial",
    "Reminder",
    "ReminderSettings",
    "ReplacementDecision",
    "Route",
    "RouteStep",
    "RouteStepMaterial",
    "SheetPrint",
    "TemperatureReading",
    "ToolOrder",
    "WeekPlan",
    "Weighing",
    "WeighingAmendment",
    "WrongReading",
]
