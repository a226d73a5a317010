"""Who is told of what is due, on which channels and when; once, late ones together."""

from datetime import datetime, time, timedelta

import pytest

from planning.reminders import actions, queries
from planning.reminders.models import Delivery, Kind, Reminder, ReminderSettings
from shared.access.models import User
from shared.errors import Invalid, ShopError
from tests.factories.shop import make_site, make_user
from tests.planning.reminders.castings import HOUR, NOW, make_cure, make_pour, make_shop
from tests.reference_cases import params

pytestmark = pytest.mark.django_db
EVENING = NOW.replace(hour=20)


@pytest.fixture
def site():
    return make_shop(time_zone="UTC")


def due(site, kind="cure_complete", at=NOW, subject="cure:0"):
    return Reminder.objects.create(
        site=site,
        key=f"{kind}:{subject}",
        kind=kind,
        subject=subject,
        title="Tool 7 may be demoulded",
        due_at=at,
        created_at=at,
        changed_at=at,
    )


def told():
    rows = Delivery.objects.order_by("user_id", "channel")
    return [(row.user.username, row.channel, row.state) for row in rows]


def technician():
    return User.objects.get(email="technician@example.org")


def planner():
    return User.objects.get(email="planner@example.org")


def test_technicians_are_told_of_a_cure_on_the_usual_channels(site):
    due(site)
    assert actions.tell_due(NOW) == 1
    name = technician().username
    assert told() == [(name, "email", "waiting"), (name, "today", "sent")]
    assert actions.tell_due(NOW) == 0


def test_nothing_is_told_before_it_is_due(site):
    due(site, at=NOW + timedelta(seconds=1))
    assert actions.tell_due(NOW) == 0


def test_own_choice_replaces_the_usual_channels(site):
    due(site)
    technician_, planner_ = technician(), planner()
    actions.choose_channels(user=technician_, site=site, kind="cure_complete", channels=[])
    actions.choose_channels(user=planner_, site=site, kind="cure_complete", channels=["email"])
    actions.tell_due(NOW)
    assert told() == [(planner_.username, "email", "waiting")]


def test_administrators_are_told_what_everybody_has_switched_off(site):
    boss = make_user(site, "administrator")
    due(site)
    actions.choose_channels(user=technician(), site=site, kind="cure_complete", channels=[])
    actions.tell_due(NOW)
    assert told() == [(boss.username, "today", "sent")]


def test_people_of_another_site_and_people_who_left_are_not_told(site):
    make_user(make_site(), "technician")
    make_user(site, "technician", is_active=False)
    due(site)
    actions.tell_due(NOW)
    assert Delivery.objects.count() == 2
    assert {row.user.memberships.get().site for row in Delivery.objects.all()} == {site}
    assert all(row.user.is_active for row in Delivery.objects.all())


def test_missing_address_shows_as_failing_at_once(site):
    user = technician()
    User.objects.filter(pk=user.pk).update(email="")
    due(site)
    actions.tell_due(NOW)
    failed = queries.troubled(site).get()
    assert (failed.state, failed.error) == ("failed", f"{user} has no e-mail address.")


def test_quiet_hours_hold_mail_but_not_the_page_nor_what_cannot_wait(site):
    actions.set_quiet_hours(user=technician(), quiet_from=time(19), quiet_until=time(6))
    actions.choose_channels(user=planner(), site=site, kind="unattended_peak", channels=[])
    due(site, at=EVENING)
    due(site, "unattended_peak", at=EVENING)
    actions.tell_due(EVENING)
    morning = EVENING + 10 * HOUR
    rows = Delivery.objects.order_by("channel", "key").values_list("channel", "try_at")
    assert list(rows) == [
        ("email", morning),
        ("email", EVENING),
        ("today", EVENING),
        ("today", EVENING),
    ]


def test_after_an_outage_each_person_gets_one_message_with_all_of_it(site):
    for n in range(5):
        due(site, at=NOW - timedelta(days=1), subject=f"cure:{n}")
    due(site, at=NOW, subject="cure:5")
    actions.tell_due(NOW)
    mails = Delivery.objects.filter(channel="email").order_by("id")
    assert sorted(mail.items.count() for mail in mails) == [1, 5]
    assert Delivery.objects.filter(channel="today").count() == 6


def test_notice_is_shown_until_confirmed_or_put_away(site):
    reminder = due(site)
    actions.tell_due(NOW)
    user = technician()
    notice = queries.notices(user, [site.pk]).get()
    assert [item.reminder for item in notice.items.all()] == [reminder]
    assert queries.notices(planner(), [site.pk]).count() == 0
    actions.put_away(user=user, delivery_id=notice.pk, now=NOW)
    assert queries.notices(user, [site.pk]).count() == 0


def test_next_people_are_told_when_nobody_confirms(site):
    due(site)
    actions.tell_due(NOW)
    assert actions.escalate_due(NOW + 2 * HOUR - timedelta(seconds=1)) == 0
    assert actions.escalate_due(NOW + 2 * HOUR) == 1
    assert actions.escalate_due(NOW + 3 * HOUR) == 0
    escalated = Delivery.objects.filter(items__escalated=True)
    assert {row.user for row in escalated} == {planner()}


def test_confirming_stops_the_escalation_and_clears_the_notice(site):
    reminder = due(site)
    actions.tell_due(NOW)
    user = technician()
    assert actions.confirm(reminder=reminder, by=user, now=NOW).confirmed_by == user
    again = actions.confirm(reminder=reminder, by=planner(), now=NOW + HOUR)
    assert (again.confirmed_by, again.confirmed_at) == (user, NOW)
    assert actions.escalate_due(NOW + 9 * HOUR) == 0
    assert queries.notices(user, [site.pk]).count() == 0


def test_what_was_not_told_cannot_be_confirmed(site):
    reminder = due(site, at=NOW + HOUR)
    with pytest.raises(ShopError, match="is not due yet; only a reminder that has been told"):
        actions.confirm(reminder=reminder, by=technician(), now=NOW)


@pytest.mark.parametrize(
    ("kind", "channels", "words"),
    [
        pytest.param("cure_complete", ["pigeon"], "give any of today, email", id="channel"),
        pytest.param("tea", ["email"], "give one of cure_complete", id="kind"),
    ],
)
def test_choice_of_something_unknown_is_refused(site, kind, channels, words):
    with pytest.raises(Invalid, match=words):
        actions.choose_channels(user=technician(), site=site, kind=kind, channels=channels)


def test_half_a_stretch_of_quiet_hours_is_refused(site):
    with pytest.raises(Invalid, match="quiet_until is empty; give both or neither"):
        actions.set_quiet_hours(user=technician(), quiet_from=time(19), quiet_until=None)


def test_every_kind_has_a_treatment_a_source_and_somebody_to_tell(site):
    from planning.reminders.kinds import RULES
    from planning.reminders.wanted import SOURCES

    assert set(RULES) == set(SOURCES) == set(Kind.values)
    assert all(rule.roles and rule.channels for rule in RULES.values())


def test_settings_are_made_on_first_use(site):
    user = technician()
    assert actions.settings_of(user) == actions.settings_of(user)
    assert ReminderSettings.objects.filter(user=user).count() == 1


@pytest.mark.parametrize("case", params("interchange_checks.csv", "TM-12"))
def test_cure_across_a_clock_change_is_told_of_when_its_hours_have_passed(db, case):
    berlin = make_shop(time_zone=case.inputs["zone"])
    poured_at = datetime.fromisoformat(case.inputs["start"])
    pour = make_pour(berlin)
    assert case.inputs["duration_s"] == 16 * HOUR.total_seconds()
    make_cure(pour, poured_at=poured_at, demould_due_at=poured_at + 16 * HOUR)
    actions.refresh(poured_at)
    reminder = Reminder.objects.get(kind="cure_complete")
    # 16 h on the night clocks go forward end at 11:00 on the wall, not at 10:00.
    end = datetime.fromisoformat(case.expected["end"])
    assert f"until {end:%a %d %b %H:%M}" in reminder.words, case.source
    assert actions.tell_due(poured_at + 16 * HOUR - timedelta(seconds=1)) in (0, 1)
    assert Reminder.objects.get(kind="cure_complete").state == "waiting"
    actions.tell_due(poured_at + 16 * HOUR)
    assert Reminder.objects.get(kind="cure_complete").state == "told"
