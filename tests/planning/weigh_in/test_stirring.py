"""A can whose filler settles is stirred, and that is signed, before its first weighing."""

from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batch_sheets.queries import sheet
from planning.batch_sheets.words import work_of
from planning.batches.models import Batch
from planning.weigh_in import actions
from planning.weigh_in.gate import NotReady, Passing
from planning.weigh_in.models import CastingQuarantine
from planning.weigh_in.page_state import batch_with_parts, state_of
from shared.errors import Invalid
from shop.lots.models import Container
from shop.materials.models import Material
from tests.callers import caller
from tests.conftest import make_user

LATE = timedelta(minutes=10)
BECAUSE = Passing("the mixer stirred the whole pail", "Petra Planner")


@pytest.fixture
def batch(planned):
    planned()
    Material.objects.filter(code="RES-Q").update(stir_before_use=True)
    return Batch.objects.get()


@pytest.fixture
def line(batch):
    return batch.lines.get(role="resin")


def weigh(batch, line, key="w", minutes=0, late=timedelta(0), **more):
    at = batch.planned_start + timedelta(minutes=minutes)
    return actions.record_weighing(
        line=line, weighed_kg=Decimal("0.2"), key=key, at=at, now=at + late, **more
    )


def stir(batch, line, minutes=0, key="s", **more):
    at = batch.planned_start + timedelta(minutes=minutes)
    return actions.record_entry(
        batch=batch, kind="stirred", key=key, at=at, now=at, line=line, **more
    )


def test_nothing_is_weighed_from_a_settled_can_until_its_stirring_is_signed(batch, line):
    with pytest.raises(NotReady, match="is not signed as stirred within 12 h") as refusal:
        weigh(batch, line)
    assert [row["code"] for row in refusal.value.facts["hindrances"]] == ["not_stirred"]
    assert not line.weighings.exists()
    assert stir(batch, line).container == line.container
    weigh(batch, line)
    assert not batch.entries.filter(kind="unstirred").exists()


def test_hardener_without_filler_is_weighed_as_it_stands(batch):
    weigh(batch, batch.lines.get(role="hardener"))


def test_another_can_is_stirred_for_itself(batch, line):
    stir(batch, line)
    other = Container.objects.filter(lot=line.container.lot).exclude(pk=line.container_id)[0]
    more = {"container_code": other.code, "reason": "the can ran empty"}
    with pytest.raises(NotReady, match=other.code):
        weigh(batch, line, **more)
    stir(batch, line, key="s2", container_code=other.code)
    weigh(batch, line, **more)


@pytest.mark.parametrize(
    ("hours", "minutes", "counts"),
    [(None, 12 * 60, True), (None, 12 * 60 + 1, False), (2, 120, True), (2, 121, False)],
)
def test_stirring_counts_as_long_as_the_material_says(batch, line, hours, minutes, counts):
    Material.objects.filter(code="RES-Q").update(stir_hours=hours)
    stir(batch, line)
    if counts:
        weigh(batch, line, minutes=minutes)
        return
    with pytest.raises(NotReady, match=f"within {hours or 12} h"):
        weigh(batch, line, minutes=minutes)


def test_a_reason_with_a_name_passes_and_is_kept(batch, line):
    with pytest.raises(Invalid, match="decided_by is empty"):
        weigh(batch, line, passing=Passing(BECAUSE.reason))
    weigh(batch, line, passing=BECAUSE)
    entry = batch.entries.get(kind="unstirred")
    assert (entry.container, entry.gate.reason) == (line.container, BECAUSE.reason)
    assert (entry.gate.late, entry.gate.decided_by) == (False, BECAUSE.decided_by)
    assert not CastingQuarantine.objects.exists()


def test_what_is_told_late_is_recorded_marked_and_its_casting_held(batch, line):
    weigh(batch, line, late=LATE)
    assert line.weighings.count() == 1
    assert batch.entries.get(kind="unstirred").gate.late
    assert "not signed as stirred" in CastingQuarantine.objects.get().words


def test_the_same_by_rest(batch, line, now):
    import time_machine

    user = make_user("technician", batch.site)
    with time_machine.travel(batch.planned_start, tick=False):
        phone = caller(user, [batch.site])
        body = {"line": str(line.pk), "weighed_kg": "0.2"}
        where = f"/api/v1/batches/{batch.pk}"
        refused = phone.post(f"{where}/weighings", body)
        assert (refused.status_code, refused.json()["code"]) == (409, "not_ready")
        stirred = {"kind": "stirred", "container_code": line.container.code}
        made = phone.post(f"{where}/entries", stirred)
        assert made.status_code == 201, made.content
        assert made.json()["container"] == str(line.container_id)
        assert phone.post(f"{where}/weighings", body).status_code == 201


def test_page_sheet_and_fetch_list_ask_for_it_until_it_is_signed(batch, line):
    day, code = batch.planned_start.date(), line.container.code
    name = line.container.lot.material.name

    def seen():
        found = sheet(site=batch.site, day=day)
        row = next(one for one in found["fetch"] if one["container"] == code)
        state = state_of(batch_with_parts(batch.pk, batch.site_id), batch.planned_start)
        can = next(one for one in state["cans"] if one["code"] == code)
        return found["batches"][0], row["stir"], row["stirred_at"], can["stirred_at"], state

    printed, wanted, *times, state = seen()
    words = f"First stir {name} in can {code} to the bottom"
    assert work_of(printed)[0].startswith(words)
    assert (wanted, times) == (True, [None, None])
    assert state["stir_again_h"] == {"resin": 12.0, "hardener": None}
    stir(batch, line)
    _, wanted, *times, _ = seen()
    assert (wanted, times) == (False, [batch.planned_start, batch.planned_start])
