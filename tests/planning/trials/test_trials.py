import pytest

from planning.batches.models import Batch
from planning.core.whatif import NO_CHANGE
from planning.schedule.models import WeekPlan
from planning.trials import actions as trials
from planning.trials.models import PlanTrial
from shared.errors import Invalid
from shop.models import Mixer, Person
from tests.conftest import caller, make_site, make_user


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
    against = [row["against"] for row in found.answers]
    assert against[0] == ""
    assert against[2] == NO_CHANGE  # a larger mixer is of no use to three small pours
    assert all(against[1:])
    assert list(Batch.objects.values()) == before
    assert WeekPlan.objects.count() == 1


def test_asked_twice_the_same_is_answered_the_same(plan, now):
    question = {"kind": "person", "person": str(Person.objects.first().pk)}
    first, second = (ask(plan, now, question).answers for _ in range(2))
    assert first == second
    as_it_is = plan.plan["figures"]
    assert first[0]["figures"]["lateness"] <= as_it_is["lateness"]
    assert first[0]["figures"]["pots"] <= as_it_is["pots"]


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
    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    assert client.post(f"/plans/{plan.pk}/what-if/", {"kelvin": "2"}).status_code == 302
    trials.answer(trial_id=PlanTrial.objects.get().pk)
    page = client.get(f"/plans/{plan.pk}/what-if/").content.decode()
    assert "a shop warmer by 2 °C" in page
    assert "Against the week as it is" in page


@pytest.fixture
def planner(shop_site):
    return caller(make_user("planner", shop_site), [shop_site])


def test_over_rest_questions_are_asked_followed_and_read_side_by_side(plan, planner):
    person = Person.objects.first()
    questions = [
        {"kind": "person", "person": str(person.pk)},
        {"kind": "shop_k", "kelvin": "2"},
        {"kind": "late_per_pot", "minutes": 60},
    ]
    asked = planner.post("/api/v1/plan-trials", {"plan": str(plan.pk), "questions": questions})
    assert asked.status_code == 201, asked.json()
    assert asked.json()["state"] == "waiting"
    trials.answer(trial_id=int(asked.json()["id"]))
    found = planner.get(f"/api/v1/plan-trials/{asked.json()['id']}").json()
    assert found["state"] == "ready"
    assert [row["words"] for row in found["answers"]] == [
        "as it is",
        f"another person like {person.name}",
        "a shop warmer by 2 °C",
        "one pot worth 60 late minutes",
    ]
    assert {row["rules_broken"] for row in found["answers"]} == {0}
    assert "pots" in found["answers"][1]["figures"]
    listed = planner.get("/api/v1/plan-trials", {"plan": plan.pk}).json()["items"]
    assert [row["id"] for row in listed] == [found["id"]]


@pytest.mark.parametrize(
    ("question", "pointer", "words"),
    [
        ({"kind": "magic"}, "#/questions/0/kind", "person, mixer"),
        ({"kind": "shop_k", "kelvin": "40"}, "#/questions/0/kelvin", "give -10 to 10"),
        ({"kind": "person"}, "#/questions/0/person", "known:"),
        ({"kind": "person", "who": "1"}, "#/questions/0/who", ""),
    ],
)
def test_over_rest_nonsense_is_refused_by_pointer(plan, planner, question, pointer, words):
    body = {"plan": str(plan.pk), "questions": [question]}
    refused = planner.post("/api/v1/plan-trials", body)
    assert refused.status_code == 422, refused.json()
    (problem,) = refused.json()["errors"]
    assert problem["pointer"] == pointer
    assert words in problem["detail"]
    assert not PlanTrial.objects.exists()


def test_over_rest_only_a_planner_of_the_site_asks(plan, shop_site):
    body = {"plan": str(plan.pk), "questions": [{"kind": "shop_k", "kelvin": "2"}]}
    technician = caller(make_user("technician", shop_site), [shop_site])
    assert technician.post("/api/v1/plan-trials", body).status_code == 403
    other = make_site("elsewhere")
    stranger = caller(make_user("planner", other), [other])
    assert stranger.post("/api/v1/plan-trials", body).status_code == 422
    assert not PlanTrial.objects.exists()
