import pytest

from planning.week_plan import trials
from planning.week_plan.models import Batch, PlanTrial, WeekPlan
from shared.errors import Invalid
from shop.models import Mixer, Person


@pytest.fixture
def plan(planned, take):
    return planned(*(take(f"T-{n}", system="T", depth_mm="40") for n in range(3)))


def ask(plan, now, *questions):
    trial = trials.ask_trial(plan=plan, questions=questions, now=now)
    return trials.answer(trial_id=trial.pk)


def test_answers_stand_beside_the_week_as_it_is_and_nothing_is_saved(plan, now):
    before = list(Batch.objects.values())
    person, mixer = Person.objects.first(), Mixer.objects.first()
    found = ask(
        plan,
        now,
        {"kind": "person", "person": str(person.pk)},
        {"kind": "mixer_kg", "mixer": str(mixer.pk), "kg": "60"},
        {"kind": "shop_k", "kelvin": "3"},
        {"kind": "day", "day": "2026-12-05", "like": "2026-12-04"},
    )
    assert found.state == "ready"
    words = [row["words"] for row in found.answers]
    assert words[0] == "as it is"
    assert f"another person like {person.name}" in words
    assert "a shop warmer by 3 °C" in words
    assert [row["rules_broken"] for row in found.answers] == [0] * 5
    assert list(Batch.objects.values()) == before
    assert WeekPlan.objects.count() == 1


def test_a_second_worker_answers_nothing_again(plan, now):
    trial = ask(plan, now, {"kind": "shop_k", "kelvin": "-3"})
    PlanTrial.objects.filter(pk=trial.pk).update(answers=[])
    assert trials.answer(trial_id=trial.pk).answers == []


@pytest.mark.parametrize(
    ("question", "words"),
    [
        ({"kind": "magic"}, "known: person, mixer"),
        ({"kind": "person", "person": "99999"}, "person is '99999'; known:"),
        ({"kind": "shop_k", "kelvin": "40"}, "give -10 to 10"),
        ({"kind": "day", "day": "2026-02-30", "like": "2026-12-04"}, "give a day from"),
    ],
)
def test_a_question_that_makes_no_sense_is_refused(plan, now, question, words):
    with pytest.raises(Invalid) as refused:
        trials.ask_trial(plan=plan, questions=[question], now=now)
    assert words in refused.value.problems[0].detail
    assert refused.value.problems[0].pointer.startswith("#/questions/0/")


def test_the_page_asks_and_shows_the_answers(plan, shop_site, client, now):
    from tests.conftest import make_user

    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    assert client.post(f"/plans/{plan.pk}/what-if/", {"kelvin": "2"}).status_code == 302
    trials.answer(trial_id=PlanTrial.objects.get().pk)
    page = client.get(f"/plans/{plan.pk}/what-if/").content.decode()
    assert "a shop warmer by 2 °C" in page
