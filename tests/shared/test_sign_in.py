"""Signing in with a second step, where one is signed in, new passwords by mail, who leaves."""

import re
from datetime import timedelta

import pyotp
import pytest
from django.core import mail
from django.test import Client

from shared import clock
from shared.access.models import AccessToken, CompanyMembership, Membership, User
from shared.audit.models import AuditEntry
from shared.sign_in import new_password, second_step, sign_ins
from shared.sign_in.models import AskedPassword, SecondStep, SignedIn, SpareCode
from shop.sites.models import Person
from tests.callers import make_token, make_user

WORDS = "long enough words"


@pytest.fixture
def later(frozen):
    """Move the clock on by seconds, or to a moment."""

    class Later:
        def shift(self, seconds):
            frozen.shift(timedelta(seconds=seconds))

        def move_to(self, at, tick):
            frozen.move_to(at, tick=tick)

    return Later()


@pytest.fixture
def petra(site):
    person = make_user("planner", site)
    person.email = "petra@shop.example"
    person.set_password(WORDS)
    person.save()
    return person


@pytest.fixture
def hall(petra):
    """A browser in which nobody is signed in."""
    return Client()


def sign_in(client, person, password=WORDS, **more):
    return client.post("/sign-in/", {"username": person.username, "password": password, **more})


def with_app(person):
    """Turn the second step on; return the app."""
    app = pyotp.TOTP(second_step.begin(person).secret)
    second_step.confirm(person, app.at(clock.now()))
    return app


def test_codes_are_those_of_rfc_6238(petra, later):
    """Appendix B of RFC 6238, SHA-1, its last six of eight digits."""
    secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # 12345678901234567890
    vectors = {59: "287082", 1111111109: "081804", 1234567890: "005924", 20000000000: "353130"}
    for at, code in vectors.items():
        SecondStep.objects.all().delete()
        SecondStep.objects.create(
            user=petra, secret=secret, made_at=clock.now(), confirmed_at=clock.now()
        )
        later.move_to(at, tick=False)
        assert not second_step.take_code(petra, "000000")
        assert second_step.take_code(petra, f"{code[:3]} {code[3:]}")
        assert not second_step.take_code(petra, code), "a code opens once"


def test_an_older_code_is_refused_after_a_newer_one(petra, frozen):
    app = with_app(petra)
    later = clock.now() + timedelta(seconds=30)
    assert second_step.take_code(petra, app.at(later))
    assert not second_step.take_code(petra, app.at(clock.now()))


def test_setting_up_then_signing_in_with_the_app(petra, hall, later):
    sign_in(hall, petra)
    page = hall.get("/own-sign-in/second-step/").content.decode()
    secret = re.search(r"<code>([A-Z2-7 ]{32,})</code>", page)[1].replace(" ", "")
    assert SecondStep.objects.get().secret == secret
    wrong = hall.post("/own-sign-in/second-step/", {"code": "000000"})
    assert wrong.status_code == 422
    assert not second_step.is_on(petra)
    app = pyotp.TOTP(secret)
    done = hall.post("/own-sign-in/second-step/", {"code": app.at(clock.now())})
    codes = re.findall(r"<code>([A-Z2-9]{4}(?:-[A-Z2-9]{4}){3})</code>", done.content.decode())
    assert len(codes) == 10
    other = Client()
    answer = sign_in(other, petra, next="/week/")
    assert answer.headers["Location"] == "/sign-in/code/"
    assert other.get("/today/").status_code == 302, "the password alone opens nothing"
    assert other.post("/sign-in/code/", {"code": "123"}).status_code == 422
    later.shift(60)
    opened = other.post("/sign-in/code/", {"code": app.at(clock.now())})
    assert opened.headers["Location"] == "/week/"
    assert other.get("/today/").status_code == 200
    spare = Client()
    sign_in(spare, petra)
    assert spare.post("/sign-in/code/", {"code": codes[0].lower()}).status_code == 302
    assert second_step.spare_codes_left(petra) == 9
    again = Client()
    sign_in(again, petra)
    assert again.post("/sign-in/code/", {"code": codes[0]}).status_code == 422, "opens once"


def test_secret_and_spare_codes_are_not_in_the_database_in_clear(petra):
    from django.db import connection

    secret = second_step.begin(petra).secret
    codes = second_step.new_spare_codes(petra)
    with connection.cursor() as cursor:
        cursor.execute("SELECT secret FROM shared_secondstep")
        stored = cursor.fetchone()[0]
    assert secret not in stored
    digests = set(SpareCode.objects.values_list("digest", flat=True))
    assert not any(code in digest for code in codes for digest in digests)


def test_right_password_waits_ten_minutes_for_its_code(petra, hall, later):
    app = with_app(petra)
    sign_in(hall, petra)
    later.shift(601)
    late = hall.post("/sign-in/code/", {"code": app.at(clock.now())})
    assert late.headers["Location"] == "/sign-in/"
    assert hall.get("/today/").status_code == 302


def test_password_changed_meanwhile_closes_the_second_step(petra, hall, later):
    app = with_app(petra)
    sign_in(hall, petra)
    petra.set_password("another long password")
    petra.save()
    later.shift(60)
    assert hall.post("/sign-in/code/", {"code": app.at(clock.now())}).headers["Location"] == (
        "/sign-in/"
    )


def test_wrong_codes_lock_as_wrong_passwords_do(petra, hall, later):
    app = with_app(petra)
    sign_in(hall, petra)
    for _ in range(10):
        last = hall.post("/sign-in/code/", {"code": "000000"})
    assert last.status_code == 429
    later.shift(60)
    assert hall.post("/sign-in/code/", {"code": app.at(clock.now())}).status_code == 429
    assert hall.get("/today/").status_code == 302


def test_address_to_go_on_to_is_of_this_shop(petra, hall, later):
    app = with_app(petra)
    sign_in(hall, petra, next="https://elsewhere.example/")
    later.shift(60)
    answer = hall.post("/sign-in/code/", {"code": app.at(clock.now())})
    assert answer.headers["Location"] == "/"


def test_turning_it_off_asks_for_password_and_code(petra, hall, later):
    app = with_app(petra)
    hall.force_login(petra)
    later.shift(60)
    way = "/own-sign-in/second-step/off/"
    code = app.at(clock.now())
    assert hall.post(way, {"password": "guess", "code": code}).status_code == 422
    assert hall.post(way, {"password": WORDS, "code": "000000"}).status_code == 422
    assert second_step.is_on(petra)
    assert hall.post(way, {"password": WORDS, "code": code}).status_code == 302
    assert not second_step.is_on(petra)
    assert not SpareCode.objects.exists()


def test_roles_that_must_have_one_set_it_up_first(petra, hall, settings):
    settings.SECOND_STEP_ROLES = ["planner"]
    sign_in(hall, petra)
    assert hall.get("/week/").headers["Location"] == "/own-sign-in/second-step/"
    assert hall.get("/api/v1/me").status_code == 403
    page = hall.get("/own-sign-in/second-step/")
    assert b"asks for a second step" in page.content
    app = pyotp.TOTP(SecondStep.objects.get().secret)
    hall.post("/own-sign-in/second-step/", {"code": app.at(clock.now())})
    assert hall.get("/today/").status_code == 200
    assert hall.get("/api/v1/me").status_code == 200


def test_sign_ins_are_listed_and_ended(petra, hall):
    tablet = Client(headers={"user-agent": "Tablet 1"})
    sign_in(hall, petra)
    sign_in(tablet, petra)
    page = hall.get("/own-sign-in/").content.decode()
    assert "Tablet 1" in page
    assert page.count("This one") == 1
    theirs = SignedIn.objects.get(browser="Tablet 1")
    stranger = Client()
    stranger.force_login(make_user("quality", petra.memberships.get().site))
    stranger.post("/own-sign-in/end/", {"only": theirs.pk})
    assert tablet.get("/today/").status_code == 200, "nobody ends those of others"
    hall.post("/own-sign-in/end/", {"only": theirs.pk})
    assert tablet.get("/today/").status_code == 302
    assert hall.get("/today/").status_code == 200
    sign_in(tablet, petra)
    hall.post("/own-sign-in/end/")
    assert [row.session_key for row in sign_ins.sign_ins_of(petra)] == [hall.session.session_key]
    hall.post("/sign-out/")
    assert not sign_ins.sign_ins_of(petra)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ("", ""),
        ("Tablet 1", "Tablet 1"),
        ("Mozilla/5.0 (X11; Linux; rv:9) Engine/20 Fox/115.0", "Engine Fox, X11; Linux; rv:9"),
        ("Mozilla/5.0 (Phone 14) Kit/6 (like X) Wide/156 Safe/5", "Wide Safe, Phone 14"),
    ],
)
def test_browser_is_told_in_few_words(told, words):
    assert SignedIn(browser=told).browser_words == words


def test_page_of_ones_own_names_the_site_and_its_time(petra, hall):
    sign_in(hall, petra)
    page = hall.get("/own-sign-in/").content.decode()
    assert petra.memberships.get().site.name in page
    row = SignedIn.objects.get()
    assert f"{clock.local(row.began_at, petra.memberships.get().site):%Y-%m-%d %H:%M}" in page
    assert "/people/" not in page, "only ways that are open are shown"


def test_new_password_keeps_this_sign_in_and_ends_the_others(petra, hall):
    tablet = Client()
    sign_in(hall, petra)
    sign_in(tablet, petra)
    fresh = "quite another password"
    hall.post(
        "/own-sign-in/password/",
        {"old_password": WORDS, "new_password1": fresh, "new_password2": fresh},
    )
    assert hall.get("/today/").status_code == 200
    assert tablet.get("/today/").status_code == 302
    assert [row.session_key for row in sign_ins.sign_ins_of(petra)] == [hall.session.session_key]


def test_forgotten_password_is_set_anew_by_mail(petra, hall, settings):
    settings.PUBLIC_URL = "https://shop.example"
    signed = Client()
    sign_in(signed, petra)
    answer = hall.post("/sign-in/forgotten/", {"who": "PETRA@shop.example"})
    assert answer.status_code == 200
    new_password.mail_all()
    (letter,) = mail.outbox
    assert letter.to == ["petra@shop.example"]
    address = re.search(r"https://shop\.example(/sign-in/new-password/\S+)", letter.body)[1]
    page = hall.get(address, follow=True)
    way = page.redirect_chain[-1][0]
    assert "set-password" in way, "the secret leaves the address bar"
    fresh = "quite another password"
    hall.post(way, {"new_password1": fresh, "new_password2": fresh})
    assert signed.get("/today/").status_code == 302, "every sign-in has ended"
    assert sign_in(Client(), petra, fresh).status_code == 302
    again = Client().get(address, follow=True)
    assert b"used already" in again.content


def test_asking_tells_nobody_who_is_known_and_mails_once(petra, hall, later):
    known = hall.post("/sign-in/forgotten/", {"who": petra.username}).content
    unknown = hall.post("/sign-in/forgotten/", {"who": "nobody"}).content
    strip = re.compile(rb"csrf[^>]*|X-CSRFToken[^>]*")
    assert strip.sub(b"", known) == strip.sub(b"", unknown)
    hall.post("/sign-in/forgotten/", {"who": petra.username})
    assert AskedPassword.objects.count() == 1
    new_password.mail_all()
    new_password.mail_all()
    assert len(mail.outbox) == 1
    address = re.search(r"(/sign-in/new-password/\S+)", mail.outbox[0].body)[1]
    later.shift(3601)
    assert b"older than an hour" in hall.get(address, follow=True).content


def test_mail_that_fails_is_tried_again_and_given_up(petra, hall, monkeypatch):
    tried = []

    def refuse(*args, **kwargs):
        tried.append(args)
        raise ConnectionRefusedError

    monkeypatch.setattr(new_password, "send_mail", refuse)
    hall.post("/sign-in/forgotten/", {"who": petra.username})
    for _ in range(8):
        assert new_password.mail_all() == 0
    assert len(tried) == new_password.MOST_TRIES


def test_without_mail_the_page_says_whom_to_ask(petra, hall, settings):
    settings.EMAIL_BACKEND, settings.EMAIL_HOST = "shared.mail.backend.ShopMail", ""
    page = hall.post("/sign-in/forgotten/", {"who": petra.username})
    assert b"ask an administrator" in page.content
    assert not AskedPassword.objects.exists()


def test_administrator_takes_a_lost_phone_away_and_it_is_audited(petra, site, frozen):
    with_app(petra)
    ada = Client()
    ada.force_login(make_user("administrator", site))
    phone = Client()
    phone.force_login(petra)
    ada.post(f"/people/{petra.pk}/sign-in/", {"what": "step"})
    assert not second_step.is_on(petra)
    assert phone.get("/today/").status_code == 302
    entry = AuditEntry.objects.get(kind="shared.secondstep")
    assert "secret" not in entry.before


def test_who_leaves_opens_nothing_any_more(petra, site):
    person = Person.objects.create(site=site, code="P9", name="Petra", user=petra)
    secret = make_token(petra, [site])
    phone = Client()
    phone.force_login(petra)
    ada = Client()
    ada.force_login(make_user("administrator", site))
    way = f"/people/{petra.pk}/leave/"
    assert ada.post(way, {"username": "somebody"}).status_code == 422
    assert User.objects.get(pk=petra.pk).is_active
    assert ada.post(way, {"username": petra.username}).status_code == 302
    gone = User.objects.get(pk=petra.pk)
    assert not gone.is_active
    assert not gone.has_usable_password()
    assert phone.get("/today/").status_code == 302
    call = Client().get("/api/v1/me", headers={"Authorization": f"Bearer {secret}"})
    assert call.status_code == 401
    assert not AccessToken.objects.filter(owner=petra, revoked_at=None).exists()
    assert not Membership.objects.filter(user=petra).exists()
    assert not CompanyMembership.objects.filter(user=petra).exists()
    person.refresh_from_db()
    assert not person.in_use


def test_last_administrator_and_oneself_stay(site):
    ada = make_user("administrator", site)
    client = Client()
    client.force_login(ada)
    own = client.post(f"/people/{ada.pk}/leave/", {"username": ada.username})
    assert b"cannot take yourself out" in own.content
    root = User.objects.create_superuser("root", password=WORDS)
    client.force_login(root)
    last = client.post(f"/people/{ada.pk}/leave/", {"username": ada.username})
    assert last.status_code in (403, 422)
    ada.refresh_from_db()
    assert ada.is_active


@pytest.mark.parametrize("role", ["planner", "technician", "administrator"])
def test_sign_in_of_others_is_for_who_runs_their_site(petra, site, other_site, role):
    """An administrator of another site sees nobody of this one; other roles see nobody at all."""
    strange = Client()
    strange.force_login(make_user(role, other_site if role == "administrator" else site))
    expected = 404 if role == "administrator" else 403
    for way in ("sign-in", "leave"):
        address = f"/people/{petra.pk}/{way}/"
        assert strange.get(address).status_code == expected
        assert strange.post(address, {"username": petra.username}).status_code == expected
    assert User.objects.get(pk=petra.pk).is_active


def test_who_also_belongs_elsewhere_is_not_taken_out_from_here(petra, site, other_site):
    Membership.objects.create(user=petra, site=other_site, role="planner")
    with_app(petra)
    ada = Client()
    ada.force_login(make_user("administrator", site))
    ada.post(f"/people/{petra.pk}/sign-in/", {"what": "step"})
    assert second_step.is_on(petra)
    page = ada.post(f"/people/{petra.pk}/leave/", {"username": petra.username})
    assert b"sites you do not run" in page.content
    assert User.objects.get(pk=petra.pk).is_active
