"""All models of the planning app, gathered for Django."""

from planning.batch_sheets.models import SheetPrint
from planning.cures.models import Cure, Demould, TemperatureReading
from planning.patterns.models import PatternMesh
from planning.pours.models import Pour, PourStep, ToolOrder
from planning.reminders.models import (
    ChannelChoice,
    Delivery,
    DeliveryItem,
    Heartbeat,
    Reminder,
    ReminderSettings,
)
from planning.routes.models import Route, RouteStep
from planning.week_plan.models import (
    Batch,
    BatchCounter,
    BatchLine,
    BatchPortion,
    Lift,
    PlanningRules,
    PlanTrial,
    WeekPlan,
)
from planning.weigh_in.models import BatchEntry, Weighing

__all__ = [
    "Batch",
    "BatchCounter",
    "BatchEntry",
    "BatchLine",
    "BatchPortion",
    "ChannelChoice",
    "Cure",
    "Delivery",
    "DeliveryItem",
    "Demould",
    "Heartbeat",
    "Lift",
    "PatternMesh",
    "PlanTrial",
    "PlanningRules",
    "Pour",
    "PourStep",
    "Reminder",
    "ReminderSettings",
    "Route",
    "RouteStep",
    "SheetPrint",
    "TemperatureReading",
    "ToolOrder",
    "WeekPlan",
    "Weighing",
]
