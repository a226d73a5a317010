from dataclasses import fields
from datetime import timedelta
from decimal import Decimal

import pytest

from planning.core.problem import Settings
from planning.week_plan import actions
from planning.week_plan.rules import RULES, keep_rules, rules_of, settings_of
from shared.errors import Invalid


def test_every_setting_has_a_label_and_a_sentence_of_help():
    assert set(RULES) | {"freeze_until_min"} == {field.name for field in fields(Settings)}
    for rule in RULES.values():
        assert rule.label
        assert rule.help.endswith(".")


def test_only_what_differs_is_kept_and_a_plan_follows_it(shop_site, take, now):
    take()
    keep_rules(site_id=shop_site.pk, values={"extra_lifts": 1, "pot_life_factor": 0.9})
    assert rules_of(shop_site.pk).values == {"extra_lifts": 1}
    wish = actions.write_wish(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plan = actions.solve(plan_id=wish.pk, now=now)
    assert len(plan.plan["lifts"]) == 2


def test_freeze_hours_become_minutes_of_the_plan(shop_site, take, now):
    take()
    keep_rules(site_id=shop_site.pk, values={}, freeze_hours=Decimal(5))
    wish = actions.write_wish(site=shop_site, week="2026-W49", now=now, seconds=0.5)
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


def test_the_page_keeps_what_the_foreman_chose(shop_site, client):
    from tests.conftest import make_user

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
