"""Addresses of reminders, taken up by the app's `urls.py`."""

from __future__ import annotations

from django.urls import path

from planning.reminders import pages, views
from shared.api.router import Router

router = Router()
router.register("reminders", views.ReminderViewSet, "reminder")
router.register("reminder-deliveries", views.DeliveryViewSet, "reminder-delivery")
router.register("reminder-settings", views.SettingsViewSet, "reminder-settings")
router.register("reminder-choices", views.ChoiceViewSet, "reminder-choice")

api_urlpatterns = list(router.urls)
urlpatterns = [
    path("reminders/", pages.reminders, name="reminders"),
    path("reminders/how/", pages.how_told, name="how-told"),
    path("reminders/calendar/", pages.new_feed, name="new-feed"),
    path("reminders/messages/<int:pk>/again/", pages.send_again, name="send-again"),
    path("calendar/<str:token>.ics", pages.calendar_feed, name="calendar-feed"),
]
