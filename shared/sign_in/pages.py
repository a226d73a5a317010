"""Pages: signing in with its second step, one's own sign-in, and a new password by mail."""

from __future__ import annotations

import time
from typing import Any

from axes.handlers.proxy import AxesProxyHandler
from axes.helpers import get_lockout_response
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate, login
from django.contrib.auth import views as auth
from django.contrib.auth.signals import user_login_failed
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from shared.access import queries
from shared.access.models import User
from shared.api.permissions import signed_in
from shared.errors import Invalid
from shared.mail import backend
from shared.sign_in import new_password, second_step, sign_ins
from shared.sign_in.forms import (
    CodeForm,
    FirstCodeForm,
    ForgottenForm,
    PasswordAndCodeForm,
)
from shared.sign_in.middleware import MUST

HELD = "password_was_right"
HELD_FOR_S = 600
"""How long a right password waits for its code; no source."""
BACKEND = "django.contrib.auth.backends.ModelBackend"


class SignIn(auth.LoginView):
    """Sign in; where nothing is founded yet, the first visitor is led to that."""

    template_name = "sign_in/sign_in.html"

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        """Lead to founding the shop while that is allowed and still to be done."""
        if settings.FOUND_IN_BROWSER and queries.is_unfounded():
            return redirect("start")
        return super().dispatch(request, *args, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        """Sign in, or ask for the code of who has a second step."""
        person = form.get_user()
        if not second_step.is_on(person):
            answer = super().form_valid(form)
            _mark_wanted(self.request, person)
            return answer
        self.request.session.cycle_key()
        self.request.session[HELD] = {
            "user": person.pk,
            "mark": person.get_session_auth_hash(),
            "at": time.time(),
            "next": self.get_redirect_url(),
        }
        return redirect("sign-in-code")


def _mark_wanted(request: Any, person: User) -> None:
    if second_step.is_wanted_of(person):
        request.session[MUST] = True


def _held(request: Any) -> User | None:
    """Return whose password was right a moment ago in this browser, if it still is."""
    held = request.session.get(HELD)
    if not held or time.time() - held["at"] > HELD_FOR_S:
        return None
    person = User.objects.filter(pk=held["user"], is_active=True).first()
    return person if person and person.get_session_auth_hash() == held["mark"] else None


@never_cache
@require_http_methods(["GET", "POST"])
def code(request: Any) -> HttpResponse:
    """Ask for the code after a right password; wrong ones count as wrong passwords do."""
    person = _held(request)
    if person is None:
        request.session.pop(HELD, None)
        messages.error(request, "That took too long. Please sign in again.")
        return redirect("sign-in")
    who = {"username": person.username}
    if not AxesProxyHandler.is_allowed(request, who):
        return get_lockout_response(request, credentials=who)
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        if second_step.take_code(person, form.cleaned_data["code"]):
            after = request.session.pop(HELD)["next"]
            login(request, person, backend=BACKEND)
            return redirect(_inside(request, after))
        user_login_failed.send(sender=__name__, credentials=who, request=request)
        form.add_error(
            "code",
            "Code is wrong, or was used already. Wait for the app's next one; a spare code opens "
            "once.",
        )
    return render(request, "sign_in/code.html", {"form": form}, status=_status(form))


def _inside(request: Any, address: str) -> str:
    inside = url_has_allowed_host_and_scheme(
        address, {request.get_host()}, require_https=request.is_secure()
    )
    return address if inside else settings.LOGIN_REDIRECT_URL


def _status(form: Any) -> int:
    return 422 if form.is_bound and form.errors else 200


@signed_in
@never_cache
@require_http_methods(["GET"])
def own(request: Any) -> HttpResponse:
    """Show one's own sign-in: password, second step, and where one is signed in."""
    context = {
        "rows": sign_ins.sign_ins_of(request.user),
        "here": request.session.session_key,
        "step": second_step.told_of(request.user),
        "most_spare": second_step.SPARE_CODES,
    }
    return render(request, "sign_in/own.html", context)


@signed_in
@require_POST
def end(request: Any) -> HttpResponse:
    """End one sign-in of one's own, or all but this one."""
    only = request.POST.get("only", "")
    here = request.session.session_key
    count = sign_ins.end(
        request.user, only=int(only) if only.isdecimal() and len(only) < 18 else None, but=here
    )
    messages.success(request, f"{count} sign-in{'' if count == 1 else 's'} ended.")
    return redirect("own-sign-in")


def _right_password(request: Any, form: Any) -> bool:
    """Tell whether the password is the person's own; wrong ones count as at signing in."""
    password = form.cleaned_data["password"]
    found = authenticate(request, username=request.user.username, password=password)
    if found is None:
        form.add_error("password", "Your password is wrong. Nothing was changed.")
    return found is not None


@signed_in
@never_cache
@require_http_methods(["GET", "POST"])
def set_up(request: Any) -> HttpResponse:
    """Put the shop into an authenticator app and prove it with a first code."""
    if second_step.is_on(request.user):
        return redirect("own-sign-in")
    step = second_step.begin(request.user)
    form = FirstCodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            codes = second_step.confirm(request.user, form.cleaned_data["code"])
        except Invalid as error:
            form.add_error("code", error.problems[0].detail)
        else:
            request.session.pop(MUST, None)
            sign_ins.end(request.user, but=request.session.session_key)
            return render(request, "sign_in/spare_codes.html", {"codes": codes})
    context = {
        "form": form,
        "secret": " ".join(step.secret[i : i + 4] for i in range(0, len(step.secret), 4)),
        "address": second_step.address_of(step, "Casting shop"),
        "must": request.session.get(MUST, False),
    }
    return render(request, "sign_in/set_up.html", context, status=_status(form))


@signed_in
@never_cache
@require_http_methods(["GET", "POST"])
def change(request: Any, what: str) -> HttpResponse:
    """Turn the second step off, or make new spare codes: password and code are asked again."""
    if not second_step.is_on(request.user):
        return redirect("own-sign-in")
    form = PasswordAndCodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and _right_password(request, form):
        if not second_step.take_code(request.user, form.cleaned_data["code"]):
            who = {"username": request.user.username}
            user_login_failed.send(sender=__name__, credentials=who, request=request)
            form.add_error("code", "Code is wrong, or was used already. Nothing was changed.")
        elif what == "off":
            second_step.turn_off(request.user)
            _mark_wanted(request, request.user)
            messages.success(request, "Signing in asks for the password alone.")
            return redirect("own-sign-in")
        else:
            codes = second_step.new_spare_codes(request.user)
            return render(request, "sign_in/spare_codes.html", {"codes": codes})
    return render(
        request, "sign_in/change.html", {"form": form, "what": what}, status=_status(form)
    )


@method_decorator(signed_in, "dispatch")
class OwnPassword(auth.PasswordChangeView):
    """Change one's own password; all other sign-ins end."""

    template_name = "sign_in/own_password.html"

    def get_success_url(self) -> str:
        """Go back to one's own sign-in."""
        return reverse("own-sign-in")

    def form_valid(self, form: Any) -> HttpResponse:
        """Change it; the session goes on under a new key."""
        before = self.request.session.session_key
        answer = super().form_valid(form)
        sign_ins.carry_on(before, self.request.session.session_key)
        sign_ins.end(form.user, but=self.request.session.session_key or "")
        messages.success(self.request, "Your password was changed; other sign-ins have ended.")
        return answer


@never_cache
@require_http_methods(["GET", "POST"])
def forgotten(request: Any) -> HttpResponse:
    """Ask for a new password by mail; the answer does not tell who is known here."""
    form = ForgottenForm(request.POST or None)
    asked = False
    if request.method == "POST" and form.is_valid() and backend.is_on():
        new_password.ask(form.cleaned_data["who"])
        asked = True
    return render(
        request,
        "sign_in/forgotten.html",
        {"form": form, "asked": asked, "mail_is_on": backend.is_on()},
        status=_status(form),
    )


class NewPassword(auth.PasswordResetConfirmView):
    """Set a new password by the address that was mailed; every sign-in ends."""

    template_name = "sign_in/new_password.html"

    def get_success_url(self) -> str:
        """Go on to signing in, where a second step is asked for as ever."""
        return reverse("sign-in")

    def form_valid(self, form: Any) -> HttpResponse:
        """Set it."""
        answer = super().form_valid(form)
        sign_ins.end(form.user)
        messages.success(self.request, "Your new password is set. Sign in with it.")
        return answer
