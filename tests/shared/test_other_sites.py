"""What belongs to one site does not exist for people of another."""

from datetime import timedelta

from django.core.management import call_command

from shared import clock
from shared.access.models import AccessToken, Site
from tests.callers import caller, make_site, make_user
from tests.shared.role_table import NO_SITE, TABLE


def test_a_token_taken_back_or_expired_opens_nothing(site, frozen):
    client = caller(make_user("administrator", site), [site])
    assert client.get("/api/v1/sites").status_code == 200
    token = AccessToken.objects.get()
    token.expires_at = clock.now() + timedelta(hours=1)
    token.save()
    assert client.get("/api/v1/sites").status_code == 200
    frozen.shift(timedelta(hours=1))
    assert client.get("/api/v1/sites").status_code == 401
    token.expires_at, token.revoked_at = None, clock.now()
    token.save()
    assert client.get("/api/v1/sites").status_code == 401


def test_people_of_another_site_see_nothing_of_this_one(db):
    """With the demo shop loaded: lists leave its rows out, its ids answer like unknown ones."""
    call_command("load_demo", verbosity=0)
    demo = Site.objects.get()
    ours = caller(make_user("administrator", demo), [demo])
    theirs_site = make_site("elsewhere")
    theirs = caller(make_user("administrator", theirs_site), [theirs_site])
    seen, leaks = 0, []
    for method, template in sorted(TABLE):
        name = template.removeprefix("/api/v1/")
        if method != "GET" or ("GET", template + "/{}") not in TABLE or name in NO_SITE:
            continue
        items = ours.get(template).json()["items"]
        if not items:
            continue
        seen += 1
        known = {item["id"] for item in items}
        if known & {item["id"] for item in theirs.get(template).json()["items"]}:
            leaks.append(f"list of {name}")
        answers = [theirs.get(f"{template}/{pk}") for pk in (items[0]["id"], "999999999")]
        bodies = [{**answer.json(), "request_id": ""} for answer in answers]
        if answers[0].status_code != 404 or bodies[0] != bodies[1]:
            leaks.append(f"{name}/{items[0]['id']}: {answers[0].status_code}")
    assert leaks == []
    assert seen >= 15, "the demo should fill most lists"
