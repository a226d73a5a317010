"""Addresses of signing in."""

from __future__ import annotations

from django.contrib.auth import views as auth
from django.urls import path, register_converter

from shared.sign_in import pages, people_pages


class What:
    """What is changed about a second step."""

    regex = "off|codes"

    def to_python(self, value: str) -> str:
        """Return it as it is."""
        return value

    def to_url(self, value: str) -> str:
        """Return it as it is."""
        return value


register_converter(What, "second_step_change")

urlpatterns = [
    path("sign-in/", pages.SignIn.as_view(), name="sign-in"),
    path("sign-in/code/", pages.code, name="sign-in-code"),
    path("sign-in/forgotten/", pages.forgotten, name="forgotten"),
    path(
        "sign-in/new-password/<str:uidb64>/<str:token>/",
        pages.NewPassword.as_view(),
        name="new-password",
    ),
    path("sign-out/", auth.LogoutView.as_view(), name="sign-out"),
    path("own-sign-in/", pages.own, name="own-sign-in"),
    path("own-sign-in/password/", pages.OwnPassword.as_view(), name="own-password"),
    path("own-sign-in/end/", pages.end, name="end-sign-in"),
    path("own-sign-in/second-step/", pages.set_up, name="second-step"),
    path(
        "own-sign-in/second-step/<second_step_change:what>/",
        pages.change,
        name="second-step-change",
    ),
    path("people/<int:pk>/sign-in/", people_pages.sign_in, name="person-sign-in"),
    path("people/<int:pk>/leave/", people_pages.leave, name="person-leaves"),
]
