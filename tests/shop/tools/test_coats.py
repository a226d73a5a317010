"""Release agent on tools: what may go on, from which lot, and when it is due again."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from shared.errors import Invalid
from shop import stores
from shop.errors import Refused
from shop.ledger.models import Movement
from shop.release_agents.models import ReleaseClash, ReleaseRecipe
from shop.tools.actions import add_event
from shop.tools.due import tools_due
from shop.tools.face import AgentsClash, Coat, NotYetDry
from shop.tools.life import states
from shop.tools.models import ToolEvent
from shop.trace.queries import lot_trace, tool_trace
from tests.factories.shop import (
    NOW,
    make_container,
    make_lot,
    make_material,
    make_recipe,
    make_tool,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
DAY = timedelta(days=1)
MIN = timedelta(minutes=1)


@pytest.fixture
def wax():
    return make_material(kind="release_agent", name="Wax", use_per_m2=Decimal("0.03"))


def add(tool, kind, at=NOW, **values):
    key = f"{tool.pk}:{kind}:{ToolEvent.objects.count()}"
    return add_event(tool_id=tool.pk, kind=kind, key=key, at=at, **values)


def state_of(tool):
    tool.refresh_from_db()
    [found] = states([tool], tool.site, NOW.date())
    return found


def test_a_new_tool_is_sealed_coated_used_and_stripped_step_by_step(site, wax):
    sealer = make_material(kind="sealer", name="Pore sealer")
    recipe = make_recipe(
        material=wax, sealer=sealer, sealer_dry_min=60, coats=3, dry_min=20, haze_min=5,
        shots_per_coat=20, strip_after=1,
    )  # fmt: skip
    tool = make_tool(site, release_recipe=recipe)
    assert [work.work for work in state_of(tool).works] == ["sealing and first coats"]
    start = NOW - 10 * DAY
    with pytest.raises(Refused, match="Pore sealer on a bare face"):
        add(tool, "coat", start, coat=Coat(3))
    add(tool, "seal", start)
    with pytest.raises(NotYetDry, match="dries 60 min, until 11:00 on 15 Nov 2026"):
        add(tool, "coat", start + 59 * MIN, coat=Coat(1))
    add(tool, "coat", start + 60 * MIN, coat=Coat(1))
    found = state_of(tool).works
    assert [work.work for work in found] == ["first coats"]
    assert "1 of 3 coats are on" in found[0].words
    with pytest.raises(NotYetDry, match="dries 20 min"):
        add(tool, "coat", start + 79 * MIN, coat=Coat(2))
    add(tool, "coat", start + 80 * MIN, coat=Coat(2))
    assert state_of(tool).wants == ()
    add(tool, "shots", start + DAY, shots=20)
    assert state_of(tool).wants == ("re-coat",)
    add(tool, "coat", start + 2 * DAY, coat=Coat(1))
    add(tool, "shots", start + 3 * DAY, shots=20)
    [work] = state_of(tool).works
    assert work.work == "old wax off and new coats"
    assert work.recipe == (
        "Take the old coats off down to the face. Seal with Pore sealer, dry 60 min. 3 coats of "
        "Wax, haze 5 min, buff, dry 20 min between. Dry 60 min before the first shot."
    )
    add(tool, "strip", start + 4 * DAY)
    assert state_of(tool).wants == ("sealing and first coats",)


def test_a_coat_names_its_can_and_the_trace_finds_the_tool_by_the_lot(site, wax):
    tool = make_tool(site, release_recipe=make_recipe(material=wax, coats=2))
    lot = make_lot(site, wax)
    can = make_container(lot, holds=1)
    add(tool, "coat", coat=Coat(2, can, Decimal("0.04")))
    can.refresh_from_db()
    assert can.balance == Decimal("0.96")
    [moved] = Movement.objects.filter(counterpart=f"tool:{tool.pk}")
    assert moved.quantity == Decimal("-0.04")
    assert tool in lot_trace(lot).tools
    assert lot in tool_trace(tool).lots
    event = ToolEvent.objects.get()
    assert (event.agent, event.coats, event.container.lot) == (wax, 2, lot)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"status": "held"}, "is held"),
        ({"expires_on": NOW.date() - DAY}, "expired on 2026-11-24"),
    ],
)
def test_a_held_or_expired_lot_does_not_go_on_and_nothing_is_kept(site, wax, change, words):
    tool = make_tool(site, release_recipe=make_recipe(material=wax))
    can = make_container(make_lot(site, wax), holds=1)
    for name, value in change.items():
        setattr(can.lot, name, value)
    can.lot.save()
    with pytest.raises(Refused, match=words):
        add(tool, "coat", coat=Coat(4, can, Decimal("0.1")))
    assert not ToolEvent.objects.exists()


def test_what_makes_no_sense_is_refused_by_its_field(site, other_site, wax):
    recipe = make_recipe(material=wax)
    tool = make_tool(site, release_recipe=recipe)
    can = make_container(make_lot(site, make_material(kind="release_agent")), holds=1)
    far = make_container(make_lot(other_site, wax), holds=1)
    for coat, kind, field in (
        (Coat(), "coat", "coats"),
        (Coat(1, can, Decimal("0.1")), "coat", "container"),
        (Coat(1, far, Decimal("0.1")), "coat", "container"),
        (Coat(1, far), "coat", "quantity"),
        (Coat(1), "note", "coats"),
        (Coat(), "seal", "kind"),
        (Coat(1), "seal", "coats"),
    ):
        with pytest.raises(Invalid) as refused:
            add(tool, kind, coat=coat)
        assert [one.pointer for one in refused.value.problems] == [f"#/{field}"]
    assert not ToolEvent.objects.exists()


def test_agents_that_do_not_go_together_are_refused_until_the_old_one_is_off(site, wax):
    spray = make_material(kind="release_agent", name="Spray film")
    ReleaseClash.objects.create(
        first=wax, second=spray, reason="The film does not wet wax.", source="data sheet"
    )
    recipe, other = make_recipe(material=wax, coats=1), make_recipe(material=spray, coats=1)
    tool = make_tool(site, release_recipe=recipe)
    add(tool, "coat", NOW - 3 * DAY, coat=Coat(1))
    tool.release_recipe = other
    tool.save()
    with pytest.raises(AgentsClash, match="Spray film does not go onto Wax: The film does not"):
        add(tool, "coat", NOW - 2 * DAY, coat=Coat(1))
    add(tool, "strip", NOW - DAY)
    add(tool, "coat", coat=Coat(1))
    assert state_of(tool).wants == ()


def test_pairs_stand_once_whichever_is_named_first(api, wax):
    spray = make_material(kind="release_agent")
    client = api("administrator")
    body = {"first": str(spray.pk), "second": str(wax.pk), "reason": "r", "source": "s"}
    made = client.post("/api/v1/release-clashes", body)
    assert made.status_code == 201, made.data
    assert (made.data["first"], made.data["second"]) == (str(wax.pk), str(spray.pk))
    turned = body | {"first": body["second"], "second": body["first"]}
    again = client.post("/api/v1/release-clashes", turned)
    assert again.status_code in (409, 422), again.data
    same = client.post("/api/v1/release-clashes", body | {"second": body["first"]})
    assert same.status_code == 422
    with pytest.raises(IntegrityError), transaction.atomic():
        ReleaseClash.objects.create(first=spray, second=wax, reason="r", source="s")


def test_a_recipe_keeps_its_own_rules(wax):
    resin = make_material(kind="resin")
    with pytest.raises(ValidationError, match="choose a sealer"):
        make_recipe(material=wax, sealer=resin)
    for values in ({"coats": 2, "recoat_coats": 3}, {"haze_min": 30, "dry_min": 20}):
        with pytest.raises(ValidationError):
            make_recipe(material=wax, **values)
        with pytest.raises(IntegrityError), transaction.atomic():
            ReleaseRecipe.objects.filter(pk=make_recipe(material=wax).pk).update(**values)


def test_a_recipe_for_another_surface_is_refused(site, wax):
    recipe = make_recipe(material=wax, surface="metal", name="Wax on metal")
    with pytest.raises(ValidationError, match="the face of this tool is cast or gel-coated epoxy"):
        make_tool(site, release_recipe=recipe)
    make_tool(site, release_recipe=recipe, surface="metal")


def test_the_fewer_shots_of_recipe_and_tool_hold(site, wax):
    recipe = make_recipe(material=wax, coats=1, shots_per_coat=30)
    tool = make_tool(site, release_recipe=recipe, shots_per_coat=25)
    add(tool, "coat", NOW - 5 * DAY, coat=Coat(1))
    add(tool, "shots", NOW - DAY, shots=10)
    assert state_of(tool).coats.shots_left == 15


def test_days_make_a_re_coat_due_as_shots_do(site, wax):
    recipe = make_recipe(material=wax, coats=1, days_per_coat=14)
    tool = make_tool(site, release_recipe=recipe)
    add(tool, "coat", NOW - 13 * DAY, coat=Coat(1))
    [work] = state_of(tool).works
    assert (work.since, work.due_on) == (None, NOW.date() + DAY)
    old = make_tool(site, release_recipe=recipe)
    add(old, "coat", NOW - 20 * DAY, coat=Coat(1))
    [need] = tools_due(tool_ids=[old.pk])
    assert (need.work, need.since.date()) == ("a re-coat", NOW.date() - 7 * DAY)
    assert "renewed after 14 days" in need.words


def test_a_part_that_stuck_is_due_at_once_and_shortens_what_follows(site, wax):
    recipe = make_recipe(material=wax, coats=1, shots_per_coat=40)
    tool = make_tool(site, release_recipe=recipe)
    add(tool, "coat", NOW - 9 * DAY, coat=Coat(1))
    add(tool, "shots", NOW - 8 * DAY, shots=30)
    add(tool, "stuck", NOW - 8 * DAY + MIN, words="corner torn")
    found = state_of(tool)
    assert found.wants == ("re-coat",)
    assert "A part stuck after 30 shots" in found.works[0].words
    add(tool, "coat", NOW - 7 * DAY, coat=Coat(1))
    found = state_of(tool)
    assert found.wants == ()
    assert found.coating.interval.shots < 30
    assert found.coats.shots_left == found.coating.interval.shots


def test_the_sheet_of_the_right_day_names_the_re_coat(site, wax):
    recipe = make_recipe(material=wax, coats=1, shots_per_coat=40)
    tool = make_tool(site, release_recipe=recipe)
    add(tool, "coat", NOW - 4 * DAY, coat=Coat(1))
    for days in (3, 2, 1):
        add(tool, "shots", NOW - days * DAY, shots=8)
    today = NOW.date()
    # 24 shots in 4 days, 6 a day: the 16 left reach into the third day from today.
    work = stores.tool_work(site.pk, [today + n * DAY for n in range(5)], today)
    assert [len(work[today + n * DAY]) for n in range(5)] == [0, 0, 1, 0, 0]
    add(tool, "shots", NOW, shots=16)
    for n in (0, 3):  # due today, and still on the sheet three days later
        day = today + n * DAY
        [row] = stores.tool_work(site.pk, [day], day)[day]
        assert (row.work, row.due_on) == ("a re-coat", today)
    assert not stores.tool_work(site.pk, [today + DAY], today)[today + DAY]


def test_coats_by_rest_and_by_page(api, browser_of, site, wax):
    recipe = make_recipe(material=wax, coats=2, shots_per_coat=30)
    tool = make_tool(site, release_recipe=recipe)
    can = make_container(make_lot(site, wax), holds=1)
    client = api("tool_keeper")
    body = {"tool": str(tool.pk), "kind": "coat", "at": "2026-11-24T08:00:00Z", "coats": 2}
    made = client.post(
        "/api/v1/tool-events", body | {"container": str(can.pk), "quantity": "0.05"}
    )
    assert made.status_code == 201, made.data
    assert (made.data["agent"], made.data["coats"]) == (str(wax.pk), 2)
    found = client.get(f"/api/v1/tools/{tool.pk}/upkeep")
    assert found.status_code == 200, found.data
    assert found.data["coating"]["next"] == "re-coat"
    assert found.data["coating"]["shots_per_coat"] == 30
    page = browser_of("tool_keeper")
    form = {"kind": "coat", "key": "k", "coats": "1", "container": can.code, "quantity": "0.02"}
    shown = page.post(f"/tools/{tool.pk}/events/", form, follow=True).content.decode()
    assert "Written down" in shown
    assert f"lot {can.lot.code}" in shown
    can.refresh_from_db()
    assert can.balance == Decimal("0.93")
    wrong = page.post(f"/tools/{tool.pk}/events/", form | {"key": "k2", "coats": ""}, follow=True)
    assert "coats is empty" in wrong.content.decode()
