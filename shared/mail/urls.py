"""Address of the mail page."""

from __future__ import annotations

from django.urls import path

from shared.mail import pages

urlpatterns = [path("setup/mail/", pages.mail, name="mail")]
