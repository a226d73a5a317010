from dataclasses import fields
from datetime import timedelta
from decimal import Decimal

import pytest

from planning.core.problem import Settings
from planning.rules.actions import RULES, keep_rules, rules_of, settings_of
from planning.schedule import actions
from shared.errors import Invalid
from tests.conftest import caller, make_user


def test_every_setting_has_a_label_and_a_sentence_of_help():
    assert set(RULES) | {"freeze_until_min"} == {field.name for field in fields(Settings)}
    for rule in RULES.values():
        assert rule.label
        assert rule.help.endswith(".")


def test_only_what_differs_is_kept_and_a_plan_follows_it(shop_site, take, now):
    take()
    keep_rules(site_id=shop_site.pk, values={"extra_lifts": 1, "pot_life_factor": 0.9})
    assert rules_of(shop_site.pk).values == {"extra_lifts": 1}
    wish = actions.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plan = actions.solve(plan_id=wish.pk, now=now)
    assert len(plan.plan["lifts"]) == 2


def test_freeze_hours_become_minutes_of_the_plan(shop_site, take, now):
    take()
    keep_rules(site_id=shop_site.pk, values={}, freeze_hours=Decimal(5))
    wish = actions.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plan = actions.solve(plan_id=wish.pk, now=now)
    begin = now - timedelta(hours=5)  # midnight at the site
    assert plan.problem["settings"]["freeze_until_min"] == (
        (now + timedelta(hours=5) - begin).total_seconds() / 60
    )


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"pot_life_factor": 1.2}, "pot_life_factor is 1.2; it must be above 0, at most 1"),
        ({"overdue_lift": "hope"}, "is none of 'abrade', 'forbid'"),
        ({"most_tools_per_batch": 0}, "most_tools_per_batch is 0; it must be above 0"),
        ({"colour": "blue"}, "no setting"),
    ],
)
def test_nonsense_is_refused_and_changes_nothing(shop_site, values, words):
    with pytest.raises(Invalid) as refused:
        keep_rules(site_id=shop_site.pk, values=values)
    assert words in refused.value.problems[0].detail
    assert settings_of(rules_of(shop_site.pk)) == Settings()


def test_the_last_pour_is_a_time_of_day_on_the_page(shop_site, client):
    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    form = client.get("/week/rules/").context["form"]
    data = {name: value for name, value in form.initial.items() if value is not None}
    answer = client.post("/week/rules/", {**data, "last_pour_clock_min": "15:30"})
    assert answer.status_code == 302
    assert rules_of(shop_site.pk).values == {"last_pour_clock_min": 930}
    page = client.get("/week/rules/").content.decode()
    assert 'value="15:30"' in page
    assert "Most tools from one pot, tools" not in page


def test_two_foremen_on_the_page_do_not_overwrite_each_other(shop_site, client):
    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    form = client.get("/week/rules/").context["form"]
    data = {name: value for name, value in form.initial.items() if value is not None}
    keep_rules(site_id=shop_site.pk, values={"extra_lifts": 1})
    page = client.post("/week/rules/", {**data, "extra_lifts": 3}, follow=True)
    assert "Somebody else has changed the rules" in page.content.decode()
    assert rules_of(shop_site.pk).values == {"extra_lifts": 1}


@pytest.fixture
def planner(shop_site):
    return caller(make_user("planner", shop_site), [shop_site])


def test_rules_are_read_and_changed_over_rest_by_the_version_that_was_read(planner, shop_site):
    (row,) = planner.get("/api/v1/planning-rules").json()["items"]
    assert row["settings"]["overdue_lift"] == "abrade"
    assert set(row["about"]) == set(row["settings"]) == set(RULES)
    assert row["about"]["pot_life_factor"]["unit"] == "of 1"
    path = f"/api/v1/planning-rules/{row['id']}"
    body = {"freeze_hours": "12.0", "settings": {"extra_lifts": 2, "pot_life_factor": 0.8}}
    assert planner.patch(path, body).status_code == 428
    changed = planner.patch(path, body, etag=row["etag"])
    assert changed.status_code == 200, changed.json()
    assert changed.json()["settings"]["pot_life_factor"] == 0.8
    assert changed.json()["freeze_hours"] == "12.0"
    assert planner.patch(path, {"freeze_hours": "0"}, etag=row["etag"]).status_code == 412
    tag = changed.json()["etag"]
    usual = planner.patch(path, {"settings": {"extra_lifts": None}}, etag=tag).json()
    assert usual["settings"]["extra_lifts"] == Settings().extra_lifts
    assert rules_of(shop_site.pk).values == {"pot_life_factor": 0.8}
    assert rules_of(shop_site.pk).freeze_hours == 12


@pytest.mark.parametrize(
    ("body", "pointer", "words"),
    [
        ({"settings": {"pot_life_factor": 2}}, "#/settings/pot_life_factor", "at most 1"),
        ({"settings": {"colour": 1}}, "#/settings/colour", "known: pot_life_factor"),
        ({"settings": 4}, "#/settings", "object of rule and value"),
        ({"freeze_hours": "400"}, "#/freeze_hours", "336"),
    ],
)
def test_rules_that_make_no_sense_are_refused_by_pointer(planner, shop_site, body, pointer, words):
    (row,) = planner.get("/api/v1/planning-rules").json()["items"]
    refused = planner.patch(f"/api/v1/planning-rules/{row['id']}", body, etag=row["etag"])
    assert refused.status_code == 422
    (problem,) = refused.json()["errors"]
    assert problem["pointer"] == pointer
    assert words in problem["detail"]
    assert settings_of(rules_of(shop_site.pk)) == Settings()


def test_a_technician_reads_the_rules_and_changes_none(shop_site):
    client = caller(make_user("technician", shop_site), [shop_site])
    (row,) = client.get("/api/v1/planning-rules").json()["items"]
    path = f"/api/v1/planning-rules/{row['id']}"
    assert client.patch(path, {"freeze_hours": "1"}, etag=row["etag"]).status_code == 403


def test_the_page_keeps_what_the_foreman_chose(shop_site, client):
    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get("/week/rules/")
    data = {name: page.context["form"].initial[name] for name in RULES}
    data = {name: value for name, value in data.items() if value is not None}
    answer = client.post("/week/rules/", {**data, "extra_lifts": 2, "freeze_hours": "12"})
    assert answer.status_code == 302, answer.context["form"].errors
    kept = rules_of(shop_site.pk)
    assert kept.values["extra_lifts"] == 2
    assert kept.freeze_hours == 12
    wrong = client.post("/week/rules/", {**data, "pot_life_factor": "3", "freeze_hours": "0"})
    assert "it must be above 0, at most 1" in wrong.content.decode()


def test_the_coldest_night_is_kept_by_page_and_rest_and_null_takes_it_back(shop_site, client):
    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    form = client.get("/week/rules/").context["form"]
    data = {name: value for name, value in form.initial.items() if value is not None}
    bad = client.post("/week/rules/", {**data, "night_c": "-40"})
    assert "greater than or equal to -20" in bad.content.decode()
    assert client.post("/week/rules/", {**data, "night_c": "11.5"}).status_code == 302
    assert rules_of(shop_site.pk).night_c == Decimal("11.5")
    foreman = caller(user, [shop_site])
    (rules,) = foreman.get("/api/v1/planning-rules").json()["items"]
    assert rules["night_c"] == "11.5"
    address, match = f"/api/v1/planning-rules/{rules['id']}", {"If-Match": "*"}
    refused = foreman.patch(address, {"night_c": "77"}, format="json", headers=match)
    assert refused.status_code == 422
    (error,) = refused.json()["errors"]
    assert error["detail"] == "Coldest at night is 77.0 °C; it must be -20 to 40 °C."
    kept = foreman.patch(address, {"freeze_hours": "5"}, format="json", headers=match)
    assert kept.json()["night_c"] == "11.5", "what is not named stays"
    back = foreman.patch(address, {"night_c": None}, format="json", headers=match)
    assert (back.status_code, back.json()["night_c"]) == (200, None)
