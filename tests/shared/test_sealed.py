"""Secrets in the database: encrypted, opened, their key changed."""

import pytest
from django.core.management import call_command
from django.db import connection

from shared import sealed
from shared.mail.models import MailServer

pytestmark = pytest.mark.django_db
SECRET = "a secret of this test"


def stored():
    with connection.cursor() as cursor:
        cursor.execute("SELECT password FROM shared_mailserver")
        return cursor.fetchone()[0]


@pytest.fixture
def server():
    return MailServer.objects.create(pk=1, host="mail.example", sender="a@b.example",
                                     password=SECRET)  # fmt: skip


def test_the_database_holds_no_secret_in_the_open(server):
    assert SECRET not in stored()
    assert stored().startswith("sealed1:")
    assert MailServer.objects.get().password == SECRET
    assert sealed.seal("") == sealed.unseal("") == ""
    assert sealed.seal(SECRET) != sealed.seal(SECRET)


def test_what_was_written_before_is_read_and_encrypted_by_the_command(server):
    with connection.cursor() as cursor:
        cursor.execute("UPDATE shared_mailserver SET password = 'in the open'")
    assert MailServer.objects.get().password == "in the open"
    call_command("encrypt_secrets")
    assert "in the open" not in stored()
    assert MailServer.objects.get().password == "in the open"


def test_a_key_is_changed_without_losing_a_secret(server, settings):
    settings.SECRETS_KEYS = ["first"]
    call_command("encrypt_secrets")
    settings.SECRETS_KEYS = ["second", "first"]
    settings.SECRET_KEY = "another installation's"
    assert MailServer.objects.get().password == SECRET
    before = stored()
    call_command("encrypt_secrets")
    assert stored() != before
    settings.SECRETS_KEYS = ["second"]
    assert MailServer.objects.get().password == SECRET


def test_a_secret_that_no_key_opens_is_kept_as_it_is(server, settings):
    before = stored()
    settings.SECRETS_KEYS, settings.SECRET_KEY = [], "lost"
    row = MailServer.objects.get()
    assert row.password == ""
    row.outcome = "tried"
    row.save()
    assert stored() == before
    call_command("encrypt_secrets")
    assert stored() == before


def test_a_damaged_secret_is_not_taken_for_one(server):
    damaged = stored()[:-8] + "AAAAAAA="
    assert sealed.unseal(damaged) == ""


def test_nobody_can_look_for_a_secret():
    with pytest.raises(TypeError, match="cannot be looked for"):
        MailServer.objects.filter(password=SECRET)
