"""Values that all sites mix and buy by take two signatures where the company asks for them."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from shared import clock
from shared.audit.models import AuditEntry
from shared.errors import Invalid, ShopError
from shop.catalogue import actions, queries
from shop.catalogue.guarded import GUARDED, label_of, words_for
from shop.catalogue.models import CatalogueChange, ChangeState
from shop.materials.models import Pack, ResinSystem
from shop.setup.registers import REGISTERS
from tests.callers import caller, make_site, make_user
from tests.factories.purchasing import make_pack
from tests.factories.shop import make_material, make_supplier, make_system

pytestmark = pytest.mark.django_db


@pytest.fixture
def two(site):
    """The rule is on; two people may change what all sites work by."""
    actions.set_rules(two_signatures=True)
    return make_user("administrator", site), make_user("purchasing", site)


def patched(user, row, name, value, kind="resin-systems"):
    client = caller(user, list(user.memberships.first() and [user.memberships.first().site]))
    address = f"/api/v1/{kind}/{row.pk}"
    tag = client.get(address)["ETag"] if hasattr(row, "version") else None
    return client.patch(address, {name: value}, etag=tag)


def proposed(user, row, name="pot_life_min", value="25", **more):
    return actions.propose(
        row=row,
        values={name: Decimal(value)},
        by=user,
        reason="New batch of the data sheet",
        now=clock.now(),
        **more,
    )


GUARDED_FIELDS = [
    ("resin-systems", "pot_life_min", "25"),
    ("resin-systems", "deepest_lift_mm", "80"),
    ("resin-systems", "hardener_per_100", "11"),
    ("resin-systems", "demould_min", "60"),
    ("materials", "hazard_statements", ["H317"]),
    ("suppliers", "order_email", "orders@elsewhere.example"),
]


@pytest.mark.parametrize(("kind", "name", "value"), GUARDED_FIELDS)
def test_nobody_changes_alone_what_people_mix_and_buy_by(two, kind, name, value):
    row = {"resin-systems": make_system, "materials": make_material, "suppliers": make_supplier}[
        kind
    ]()
    answer = patched(two[0], row, name, value, kind)
    assert (answer.status_code, answer.json()["code"]) == (409, "second_signature_needed")
    assert answer.json()["fields"] == [name]
    before = getattr(row, name)
    row.refresh_from_db()
    assert getattr(row, name) == before


def test_what_is_not_guarded_is_changed_at_once_and_without_the_rule_everything_is(two):
    system = make_system()
    assert patched(two[0], system, "name", "Another name").status_code == 200
    actions.set_rules(two_signatures=False)
    assert patched(two[0], system, "pot_life_min", "25").status_code == 200


def test_a_change_is_proposed_by_one_and_released_by_another_over_rest(two, site):
    system = make_system(pot_life_min=60)
    first, second = (caller(user, [site]) for user in two)
    body = {"values": {"pot_life_min": "25"}, "reason": "Data sheet of May"}
    made = first.post(f"/api/v1/resin-systems/{system.pk}/changes", body)
    assert made.status_code == 201, made.content
    change = made.json()
    (line,) = change["values"]
    assert (line["name"], line["before"], line["after"]) == ("Pot life, min", "60", "25")
    address = f"/api/v1/catalogue-changes/{change['id']}"
    own = first.post(f"{address}/releases", {"reason": "I am sure"})
    assert (own.status_code, own.json()["code"]) == (409, "own_change")
    system.refresh_from_db()
    assert system.pot_life_min == 60
    done = second.post(f"{address}/releases", {})
    assert (done.status_code, done.json()["state"]) == (201, "in_force")
    version = system.version
    system.refresh_from_db()
    assert (system.pot_life_min, system.version) == (25, version + 1)
    assert second.post(f"{address}/releases", {}).json()["code"] == "already_decided"
    assert first.get(address).json()["values"][0]["before"] == "60"
    entries = AuditEntry.objects.filter(kind="shop.cataloguechange")
    assert {entry.user_id for entry in entries} == {user.pk for user in two}


def test_a_value_that_the_registers_form_refuses_is_not_proposed(two, site):
    system = make_system()
    client = caller(two[0], [site])
    body = {"values": {"pot_life_min": "-3"}, "reason": "slip"}
    answer = client.post(f"/api/v1/resin-systems/{system.pk}/changes", body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"].startswith("#/values")
    assert not CatalogueChange.objects.exists()


def test_a_change_holds_from_its_day_on(two, frozen):
    system = make_system(pot_life_min=60)
    day = clock.now().date() + timedelta(days=2)
    change = proposed(two[0], system, valid_from=day)
    found = actions.release(change=change, by=two[1], now=clock.now())
    assert found.state == ChangeState.RELEASED
    assert actions.bring_due_into_force(clock.now()) == 0
    system.refresh_from_db()
    assert system.pot_life_min == 60
    assert actions.bring_due_into_force(clock.now() + timedelta(days=2)) == 1
    system.refresh_from_db()
    assert system.pot_life_min == 25
    assert actions.bring_due_into_force(clock.now() + timedelta(days=2)) == 0


def test_two_proposals_for_one_value_do_not_both_pass(two):
    system = make_system(pot_life_min=60)
    first, second = proposed(two[0], system, value="25"), proposed(two[0], system, value="30")
    actions.release(change=first, by=two[1], now=clock.now())
    with pytest.raises(ShopError, match=r"Pot life, min changed after this was proposed"):
        actions.release(change=second, by=two[1], now=clock.now())


def test_a_released_change_that_another_overtook_leaves_the_value(two):
    system = make_system(pot_life_min=60)
    later = clock.now().date() + timedelta(days=3)
    slow = proposed(two[0], system, value="25", valid_from=later)
    actions.release(change=slow, by=two[1], now=clock.now())
    quick = proposed(two[0], system, value="40")
    actions.release(change=quick, by=two[1], now=clock.now())
    actions.bring_due_into_force(clock.now() + timedelta(days=4))
    slow.refresh_from_db()
    system.refresh_from_db()
    assert (slow.state, system.pot_life_min) == (ChangeState.OVERTAKEN, 40)


def test_who_is_alone_releases_her_own_change_and_says_how_she_checked_it(site):
    actions.set_rules(two_signatures=True)
    alone = make_user("administrator", site)
    change = proposed(alone, make_system(pot_life_min=60))
    with pytest.raises(Invalid, match="reason is empty"):
        actions.release(change=change, by=alone, now=clock.now())
    found = actions.release(change=change, by=alone, now=clock.now(), reason="Read twice")
    assert found.state == ChangeState.IN_FORCE
    with pytest.raises(IntegrityError), transaction.atomic():
        CatalogueChange.objects.filter(pk=found.pk).update(decision_reason="")


def test_who_may_release_is_who_may_change_what_all_sites_work_by(site):
    other = make_site("other")
    here_only = make_user("administrator", site)
    both = make_user("administrator", site)
    both.memberships.create(site=other, role="purchasing")
    assert list(queries.may_release()) == [both]
    assert here_only not in queries.may_release()
    change = proposed(both, make_system(pot_life_min=60))
    answer = caller(here_only, [site]).post(f"/api/v1/catalogue-changes/{change.pk}/releases", {})
    assert answer.status_code == 403


def test_a_pack_is_neither_added_nor_taken_away_alone(two, site, client):
    pack = make_pack()
    answer = caller(two[0], [site]).delete(f"/api/v1/packs/{pack.pk}")
    assert answer.json()["code"] == "second_signature_needed"
    body = {
        "material": str(pack.material_id), "supplier": str(pack.supplier_id), "name": "drum",
        "content": "200", "price": "1",
    }  # fmt: skip
    answer = caller(two[0], [site]).post("/api/v1/packs", body)
    assert answer.json()["code"] == "second_signature_needed"
    client.force_login(two[0])
    client.post(f"/buying/packs/{pack.pk}/remove/", {"change_reason": "Sold no more"})
    form = {
        "material": pack.material_id, "name": "drum", "content": "200", "price": "900",
        "from_packs": "1", "least_packs": "1", "change_reason": "New price list",
    }  # fmt: skip
    client.post(f"/buying/suppliers/{pack.supplier_id}/packs/", form)
    remove, add = CatalogueChange.objects.order_by("id")
    assert list(Pack.objects.all()) == [pack]
    client.force_login(two[1])
    for change in (remove, add):
        client.post(f"/catalogue/changes/{change.pk}/", {"what": "release"})
    (left,) = Pack.objects.all()
    assert (left.name, left.price, left.content) == ("drum", 900, 200)


def test_the_set_up_page_changes_the_rest_and_proposes_what_is_guarded(two, client):
    system = make_system(pot_life_min=60, name="Old name")
    client.force_login(two[0])
    address = f"/setup/resin-systems/{system.pk}/"
    page = client.get(address)
    assert "Reason for the change" in page.content.decode()
    form = page.context["form"]
    sent = {name: form[name].value() for name in form.fields}
    sent = {k: v for k, v in sent.items() if v is not None and v is not False}
    sent |= {"name": "New name", "pot_life_min": "25", "confirmed": "1"}
    without = client.post(address, sent)
    assert "reason is empty" in without.content.decode(), without.context["form"].errors
    system.refresh_from_db()
    assert (system.name, system.pot_life_min) == ("Old name", 60)
    client.post(address, sent | {"change_reason": "Data sheet of May"})
    system.refresh_from_db()
    assert (system.name, system.pot_life_min) == ("New name", 60)
    (change,) = CatalogueChange.objects.all()
    assert change.after["pot_life_min"] == "25"
    page = client.get("/catalogue/changes/").content.decode()
    assert "somebody else releases it" in page
    client.force_login(two[1])
    client.post(f"/catalogue/changes/{change.pk}/", {"what": "release"})
    assert ResinSystem.objects.get().pot_life_min == 25


def test_the_rule_is_turned_off_only_when_nothing_is_open(two, client):
    change = proposed(two[0], make_system(pot_life_min=60))
    client.force_login(two[0])
    client.post("/catalogue/rules/", {"two_signatures": "0"})
    assert queries.two_signatures()
    client.post(f"/catalogue/changes/{change.pk}/", {"what": "decline"})
    assert CatalogueChange.objects.get().state == ChangeState.WAITING
    client.post(f"/catalogue/changes/{change.pk}/", {"what": "decline", "reason": "Typing slip"})
    client.post("/catalogue/rules/", {"two_signatures": "0"})
    assert not queries.two_signatures()


def test_planned_work_it_touches_is_named(two):
    from shop.catalogue import touching

    lines = ["Main: 3 planned batches"] * (touching.MOST + 5)
    touching.register_touched(ask := lambda register, row_id: lines)
    try:
        change = proposed(two[0], make_system(pot_life_min=60))
    finally:
        touching._known.remove(ask)
    assert change.touches[-1] == "and 5 more"


def test_a_field_has_the_name_that_its_page_prints():
    for register in REGISTERS:
        for name in GUARDED.get(label_of(register.model), ()):
            label = register.form.labels.get(name)
            assert label is None or words_for(register.model, name) == label, name
