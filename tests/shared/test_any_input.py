"""
Any input gets a described answer, never a fault: generated from the API's own description.

Deterministic: every boundary of every parameter and body, against a server
with the demo shop. The checks are those of schemathesis, which is not ours;
`any_input_hooks.py` says which rows there are. The addresses are told in two
halves, this one and `test_any_input_further.py`, so that two cores share the work.
"""

import json
import os
import re
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from tests.servers import ROOT, open_shop

HERE = Path(__file__).parent
LEAST_CASES = 1000
FIRST_HALF = "^/api/v1/([a-o]|p[a-l])"
FILLED = "900"
"""
The id of a filler, and of the first of forty resin systems that nobody uses yet; the first twenty
have it, the others nothing beside resin and hardener.
"""
AGENTS = "2000"
"""The id of the first of sixty release agents, of which the first forty do not go in pairs."""
NOT_REACHED = {
    "POST /api/v1/arrivals/{id}/receipts",
    "POST /api/v1/consignments",
    "POST /api/v1/consignments/{id}/returns",
    "POST /api/v1/catalogue-changes/{id}/refusals",
    "POST /api/v1/catalogue-changes/{id}/releases",
    "POST /api/v1/materials/{id}/changes",
    "POST /api/v1/packs/{id}/changes",
    "POST /api/v1/resin-systems/{id}/changes",
    "POST /api/v1/suppliers/{id}/changes",
    "POST /api/v1/lots/{id}/retests",
    "POST /api/v1/movements",
    "POST /api/v1/patterns",
    "POST /api/v1/purchase-orders/{id}/receipts",
    "POST /api/v1/purchase-proposals/{id}/approvals",
    "POST /api/v1/purchase-proposals/{id}/refusals",
    "POST /api/v1/receipts",
    "POST /api/v1/reminder-deliveries/{id}/replays",
    "POST /api/v1/reminders/{id}/confirmations",
    "POST /api/v1/resin-systems",
    "POST /api/v1/system-components/{id}/changes",
    "POST /api/v1/scans",
    "POST /api/v1/shop-files/readings",
    "POST /api/v1/tool-events/counter-files",
    "POST /api/v1/tool-orders",
}
"""No generated body gets past the form here, or no row is there; other tests judge these."""
ROWS = """
from planning.patterns.actions import take_pattern
from shared import clock
from shared.access.models import AccessToken, Site, User
from shared.api.roles import SCOPES
from planning.models import DeliveryNote, Demould, OvenStay, Pour
from shop.materials.components import SystemComponent
from shop.materials.models import Material, ResinSystem
from shop.release_agents.models import ReleaseClash
OvenStay.objects.create(
    pour=Pour.objects.earliest("pk"), set_c=40, in_at=clock.now(), key="1", recorded_at=clock.now()
)
# Whether a generated demoulding is taken depends on the hour; its photo is tried at this one.
Demould.objects.create(
    pk=1, pour=Pour.objects.filter(status="curing").latest("pk"), verdict="accept", key="1",
    at=clock.now(), recorded_at=clock.now(),
)
DeliveryNote.objects.create(
    site=Site.objects.get(), key="1", at=clock.now(), recorded_at=clock.now(), recipient="X",
    address="Y",
)
take_pattern(
    site=Site.objects.get(), file_name="box.stl", chunks=[b"solid box\\nendsolid box\\n"],
    setup={"unit": "mm"}, now=clock.now(),
)
# The caller's own token is made after these: what is tried at tokens must not take it back.
for pk in (1, 4_000_000_000):
    spare = AccessToken.objects.create(
        pk=pk, owner=User.objects.earliest("pk"), name="spare", prefix="shop_spare",
        digest=str(pk), scopes=sorted(SCOPES), created_at=clock.now(),
    )
    spare.sites.set(Site.objects.all())
agent = Material.objects.filter(kind="release_agent").earliest("pk")
for n in range(60):
    agent.pk, agent.code, agent.name = {agents} + n, f"AGENT-{n}", f"Agent {n}"
    agent.save(force_insert=True)
for n in range(20):
    ReleaseClash.objects.create(
        pk=1 + n, first_id={agents} + 2 * n, second_id={agents} + 2 * n + 1,
        reason="does not dry", source="as invented",
    )
filler = Material.objects.get(pk=ResinSystem.objects.earliest("pk").resin_id)
filler.pk, filler.code, filler.name, filler.kind = {filled}, "FILLER", "Filler", "filler"
filler.save(force_insert=True)
for n in range(40):
    filled = ResinSystem.objects.earliest("pk")
    filled.pk, filled.code, filled.name = {filled} + n, f"FILLED-{n}", f"Filled system {n}"
    filled.save(force_insert=True)
    if n >= 20:
        continue
    SystemComponent.objects.create(
        pk=1 + n, system=filled, name="filler", material=filler, per_100=50, source="as invented"
    )
""".replace("{filled}", FILLED).replace("{agents}", AGENTS)
A_RUN = """
from shared import clock
from shop.tools.actions import add_event
from shop.tools.models import Tool
tool = Tool.objects.filter(status="in_service").earliest("pk")
print(add_event(tool_id=tool.pk, kind="note", key="a-note", at=clock.now(), words="so").pk)
print(add_event(tool_id=tool.pk, kind="shots", key="a-run", at=clock.now(), shots=7).pk)
"""


@pytest.mark.servers
def test_any_input_gets_a_described_answer(tmp_path):
    try_any_input(tmp_path, "--include-path-regex", FIRST_HALF)


def try_any_input(tmp_path: Path, *which: str) -> None:
    """Try the addresses chosen by options of schemathesis; fail with what it found."""
    with open_shop(demo=True, CALLS_PER_MINUTE="1000000") as shop:
        shop.manage("shell", "-c", ROWS)
        note, run = shop.manage("shell", "-c", A_RUN).strip().splitlines()[-2:]
        said = shop.manage("access_token", "stranger-tests", "--role", "administrator")
        token = said.strip().splitlines()[-1]
        answers = tmp_path / "answers.json"
        cures = f"{shop.url}/api/v1/cures?limit=200"
        asked = urllib.request.Request(cures, headers={"Authorization": f"Bearer {token}"})
        with urllib.request.urlopen(asked) as answer:
            items = json.load(answer)["items"]
        running = [item["id"] for item in items if item["done_at"] is None]
        done = subprocess.run(
            [
                str(Path(sys.executable).parent / "schemathesis"),
                "--config-file", str(HERE / "schemathesis.toml"),
                "run", f"{shop.url}/api/v1/openapi.json",
                "--header", f"Authorization: Bearer {token}",
                *which,
                "--phases", "examples,coverage",
                "--seed", "20261125", "--generation-deterministic", "--no-shrink",
                "--continue-on-failure", "--suppress-health-check", "all",
            ],
            env={
                **os.environ,
                "PYTHONPATH": str(ROOT),
                "SCHEMATHESIS_HOOKS": "tests.shared.any_input_hooks",
                "ANSWERS_PATH": str(answers),
                "RUNNING_CURE": running[0],
                "RUN_OF_SHOTS": run,
                "A_NOTE": note,
                "FILLED": FILLED,
                "AGENTS": AGENTS,
            },
            cwd=tmp_path,
            capture_output=True,
            text=True,
            timeout=1500,
            check=False,
        )  # fmt: skip
        with urllib.request.urlopen(f"{shop.url}/api/v1/openapi.json") as answer:
            described = json.load(answer)["paths"]
        shop.manage("audit_stock")  # ends with an error when a balance differs from the ledger
    failures = done.stdout.partition("= FAILURE")[2]
    assert done.returncode == 0, failures[:20_000] or done.stdout[-5000:] + done.stderr[-5000:]
    cases = int(re.search(r"(\d+) generated", done.stdout)[1])
    assert cases >= LEAST_CASES, f"only {cases} cases were tried"
    told = json.loads(answers.read_text())
    unjudged = {name for name, count in told.items() if is_change(name) and not judged(count)}
    assert unjudged <= NOT_REACHED, "the generated bodies never got past the form"
    refused = {name for name, count in told.items() if "428 if_match_missing" in count}
    assert refused == versioned(described) & told.keys(), "tried without If-Match, and refused"


def versioned(described: dict) -> set[str]:
    """Return the operations that require If-Match."""
    return {
        f"{method.upper()} {path}"
        for path, operations in described.items()
        for method, operation in operations.items()
        if any(row["name"] == "If-Match" for row in operation.get("parameters", ()))
    }


def is_change(operation: str) -> bool:
    return operation.startswith(("POST", "PATCH"))


def judged(count: dict[str, int]) -> bool:
    """Tell whether a body was taken, or refused by a rule of the shop and not by the form."""
    return any(answer.startswith(("2", "409")) for answer in count)
