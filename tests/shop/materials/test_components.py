"""Further components of a resin system, by REST and by page."""

import pytest
from django.test import Client

from shop.catalogue import actions
from shop.materials.components import SystemComponent
from shop.materials.queries import stamp
from shop.stores import system as info_of
from tests.callers import make_user
from tests.factories.shop import make_material, make_system

pytestmark = pytest.mark.django_db


def body(system, **values):
    usual = {"name": "filler", "per_100": "40", "tolerance_percent": "3", "source": "sheet, p. 2"}
    if "material" not in values:
        values["material"] = str(make_material(kind="filler").pk)
    return usual | {"system": str(system.pk)} | values


def test_a_component_is_entered_and_told_with_its_system_in_order_of_weighing(api):
    client, system = api("purchasing"), make_system(hardener_per_100=12)
    before = stamp()
    made = client.post("/api/v1/system-components", body(system))
    assert made.status_code == 201, made.data
    black = make_material(kind="pigment")
    pigment = body(system, name="pigment", per_100="2.5", order=2, material=str(black.pk))
    assert client.post("/api/v1/system-components", pigment).status_code == 201
    info = info_of(system.pk)
    assert list(info.per_100) == ["resin", "filler", "pigment", "hardener"]
    assert info.ratio_words == "100 : 40 filler : 2.5 pigment : 12 by mass"
    assert stamp() != before
    address = f"/api/v1/system-components/{made.data['id']}"
    changed = client.patch(address, {"per_100": "45"}, etag=made["ETag"])
    assert changed.data["per_100"] == "45.0000"
    assert client.delete(address, etag="*").status_code == 204


@pytest.mark.parametrize(
    ("values", "pointer", "words"),
    [
        ({"per_100": "0"}, "#/per_100", "must be above 0"),
        ({"tolerance_percent": "51"}, "#", "at most 50 %"),
        ({"name": "hardener"}, "#", "columns of the system itself"),
        ({"name": "Füller"}, "#/name", "small letters"),
        ({"source": ""}, "#/source", ""),
    ],
)
def test_a_faulty_component_is_refused_in_words(api, values, pointer, words):
    answer = api("purchasing").post("/api/v1/system-components", body(make_system(), **values))
    assert answer.status_code == 422, answer.data
    (problem,) = answer.data["errors"]
    assert problem["pointer"] == pointer
    assert words in problem["detail"]


def test_a_component_is_no_resin_no_release_agent_and_in_the_system_once(api):
    client, system = api("purchasing"), make_system()
    for kind in ("resin", "hardener", "release_agent"):
        wrong = body(system, material=str(make_material(kind=kind).pk))
        answer = client.post("/api/v1/system-components", wrong)
        assert "choose one of: filler" in answer.data["errors"][0]["detail"]
    by_litre = body(system, material=str(make_material(kind="pigment", unit="L").pk))
    answer = client.post("/api/v1/system-components", by_litre)
    assert "not in kg" in answer.data["errors"][0]["detail"]
    first = body(system)
    assert client.post("/api/v1/system-components", first).status_code == 201
    for again in (body(system), body(system, name="other", material=first["material"])):
        answer = client.post("/api/v1/system-components", again)
        assert "already" in answer.data["errors"][0]["detail"]
    assert SystemComponent.objects.count() == 1


def test_a_component_is_entered_by_page(site):
    page, system = Client(), make_system()
    page.force_login(make_user("administrator", site))
    filler = make_material(kind="filler", name="Chalk")
    assert "Chalk" in page.get("/setup/system-components/enter/").content.decode()
    page.post("/setup/system-components/enter/", {
        "system": system.pk, "name": "filler", "material": filler.pk, "per_100": "40",
        "tolerance_percent": "3", "order": "1", "source": "data sheet, page 2",
    })  # fmt: skip
    made = SystemComponent.objects.get()
    assert (made.system, made.material, made.per_100) == (system, filler, 40)
    listed = page.get("/setup/system-components/").content.decode()
    assert "Chalk" in listed


def test_nobody_changes_alone_how_much_filler_is_mixed(api):
    client, system = api("purchasing"), make_system()
    made = client.post("/api/v1/system-components", body(system))
    actions.set_rules(two_signatures=True)
    address = f"/api/v1/system-components/{made.data['id']}"
    answer = client.patch(address, {"per_100": "45"}, etag="*")
    assert (answer.status_code, answer.data["code"]) == (409, "second_signature_needed")
