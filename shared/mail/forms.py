"""Forms of the mail server."""

from __future__ import annotations

import re
from typing import Any, ClassVar

from django import forms

from shared.mail.models import MailServer

_HOST = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,250}[A-Za-z0-9])?|\[[0-9A-Fa-f:]+\]", re.ASCII)


class ServerForm(forms.ModelForm):
    """Server, port, security, account and sender."""

    password = forms.CharField(
        required=False,
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        help_text="Left empty, the one entered before is kept. It is stored encrypted.",
    )

    class Meta:
        model = MailServer
        fields: ClassVar = ["host", "port", "security", "username", "password", "sender"]
        labels: ClassVar = {
            "host": "Mail server",
            "security": "Encryption",
            "username": "Account",
            "sender": "Sender's address",
        }
        help_texts: ClassVar = {
            "host": "Name of the outgoing server, as your mail provider gives it. Empty: no mail.",
            "sender": "Mail comes from it, and answers go to it.",
        }

    def clean_host(self) -> str:
        """Refuse what is no name of a server."""
        host = str(self.cleaned_data["host"]).strip()
        if host and not _HOST.fullmatch(host):
            raise forms.ValidationError(
                f"Mail server is {host!r}; give only its name, such as smtp.example.com."
            )
        return host

    def clean(self) -> dict[str, Any]:
        """Keep the password where it was entered for: another server must not be told it."""
        found = super().clean() or {}
        if self.errors:
            return found
        kept = MailServer.objects.filter(pk=1).first() or MailServer()
        same = all(found[name] == getattr(kept, name) for name in ("host", "port", "username"))
        if found["host"] and not found["sender"]:
            self.add_error("sender", "Sender's address is empty; give one that people can answer.")
        if not found["password"]:
            if kept.password and not same and found["username"]:
                self.add_error(
                    "password",
                    "Server, port or account changed; give the password once more. It is not "
                    "sent to another server than the one it was entered for.",
                )
            else:
                found["password"] = kept.password if same else ""
        return found


class TrialForm(forms.Form):
    """Whom a trial goes to."""

    to = forms.EmailField(label="Send a trial to")
