"""What whoever runs the service reads: figures, log lines, and the files to start it with."""

import configparser
import json
import logging
import re
import shutil
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from django.test import RequestFactory
from prometheus_client.parser import text_string_to_metric_families

from planning.reminders.models import Delivery
from planning.schedule.models import WeekPlan
from shared import clock
from shared.caller import answering
from shared.config.logs import JsonLine
from tests.callers import make_user

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "shared" / "deploy"


@pytest.fixture
def watched(settings, client, db):
    settings.METRICS_TOKEN = "watch-me"

    def read():
        answer = client.get("/metrics", HTTP_AUTHORIZATION="Bearer watch-me")
        assert answer.status_code == 200, answer.content
        return list(text_string_to_metric_families(answer.content.decode()))

    return read


def values(families, name):
    return [sample for one in families for sample in one.samples if sample.name == name]


def test_figures_are_closed_without_the_token(settings, client, db):
    assert client.get("/metrics").status_code == 404
    settings.METRICS_TOKEN = "watch-me"
    assert client.get("/metrics").status_code == 401
    assert client.get("/metrics", HTTP_AUTHORIZATION="Bearer wrong").status_code == 401


def test_figures_tell_what_waits_and_for_how_long(watched, site, frozen):
    user, now = make_user("technician", site), clock.now()
    WeekPlan.objects.create(site=site, week="2026-W49", asked_at=now - timedelta(seconds=90))
    Delivery.objects.create(
        key="a", site=site, user=user, channel="email", due_at=now, try_at=now - timedelta(hours=1)
    )
    Delivery.objects.create(
        key="b", site=site, user=user, channel="email", due_at=now, try_at=now + timedelta(hours=1)
    )
    Delivery.objects.create(
        key="c", site=site, user=user, channel="email", due_at=now, try_at=now, state="failed"
    )
    told = {s.name: s.value for one in watched() for s in one.samples if not s.labels}
    assert told["shop_plans_waiting"] == 1
    assert told["shop_plans_waiting_seconds"] == 90
    assert told["shop_reminders_to_send"] == 1
    assert told["shop_reminders_to_send_seconds"] == 3600
    assert told["shop_reminders_failed"] == 1
    assert told["shop_reminders_round_age_seconds"] == -1
    assert told["shop_order_mails_to_send"] == 0


def test_calls_are_counted_by_the_name_of_their_address_and_not_by_their_path(watched, client):
    before = watched()
    client.get("/livez")
    client.get("/api/v1/sites/17")
    client.get("/nowhere/at/all/")
    client.generic("PROPFIND", "/livez")
    counted = values(watched(), "shop_http_request_seconds_count")
    earlier = {tuple(sorted(s.labels.items())): s.value for s in values(
        before, "shop_http_request_seconds_count")}  # fmt: skip
    rise = {
        (s.labels["address"], s.labels["method"], s.labels["status"]): s.value
        - earlier.get(tuple(sorted(s.labels.items())), 0)
        for s in counted
    }
    assert rise["livez", "GET", "200"] == 1
    assert rise["livez", "other", "200"] == 1
    assert rise["none", "GET", "404"] == 1
    assert not any("17" in address for address, _, _ in rise)


def test_a_log_line_names_the_request_and_the_person_and_is_one_line():
    request = RequestFactory().get("/")
    request.request_id = "req-12345678"
    request._cached_user = type("Person", (), {"pk": 7})()
    try:
        raise ValueError("a\nb")
    except ValueError:
        record = logging.getLogger("shop").makeRecord(
            "shop", logging.ERROR, __file__, 1, "%s kg", ("4.2",), sys.exc_info()
        )
    with answering(request):
        line = JsonLine().format(record)
    assert "\n" not in line
    told = json.loads(line)
    assert (told["request"], told["person"], told["message"]) == ("req-12345678", "7", "4.2 kg")
    assert "ValueError: a\nb" in told["exception"]
    assert "request" not in json.loads(JsonLine().format(record))


UNITS = sorted(DEPLOY.glob("*.service"))


@pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.name)
def test_a_unit_starts_what_is_there_and_may_write_only_its_data(unit):
    text = unit.read_text(encoding="utf-8")
    reader = configparser.RawConfigParser(strict=False)
    reader.read_string(text)
    service = reader["Service"]
    command = service["execstart"]
    assert re.search(
        r"gunicorn .*shared\.config\.wsgi|celery -A shared\.config (worker|beat)", command
    )
    assert service["protectsystem"] == "strict"
    assert service["nonewprivileges"] == "yes"
    assert service["environmentfile"] == "/etc/casting-shop/environment"


def test_the_units_are_sound_to_the_system_manager_where_there_is_one(tmp_path):
    assert len(UNITS) == 3
    for unit in UNITS:
        text = re.sub(r"ExecStart=\S+", "ExecStart=/bin/true", unit.read_text(encoding="utf-8"))
        (tmp_path / unit.name).write_text(text.replace("User=casting-shop", "User=root"))
    if judge := shutil.which("systemd-analyze"):
        done = subprocess.run(
            [judge, "verify", *(tmp_path / unit.name for unit in UNITS)],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        said = [line for line in done.stderr.splitlines() if "casting-shop" in line]
        assert said == []


def test_every_setting_of_the_example_is_one_that_the_service_reads():
    text = (DEPLOY / "environment.example").read_text(encoding="utf-8")
    names = set(re.findall(r"^#?([A-Z_]+)=", text, re.M))
    base = (ROOT / "shared/config/settings/base.py").read_text(encoding="utf-8")
    read = set(re.findall(r"""["']([A-Z_]+)["']""", base)) | {
        "DJANGO_SETTINGS_MODULE",
        "PROMETHEUS_MULTIPROC_DIR",
    }
    assert names <= read, names - read
    assert {"SECRET_KEY", "ALLOWED_HOSTS", "DATABASE_URL", "REDIS_URL", "PUBLIC_URL"} <= names
