"""The batch page's own sum of bounds against the one of the shop's computer, case by case."""

import json
import random
import subprocess
from decimal import Decimal
from pathlib import Path

from planning.core.casting.components import bounds_of_rows
from planning.core.casting.line_bounds import WeighRow
from planning.core.casting.mixing import MixRatio

POT = Path("shared/static/house/pot.js")
ASK = """
const cases = JSON.parse(require("fs").readFileSync(0, "utf8"));
console.log(JSON.stringify(cases.map((one) => {
  const pot = Pot.of(one, (line) => line.weighed, (line) => line.no_more, () => null);
  return one.lines.map(pot.aim).map(({ aim, low, high }) => [aim, low, high]);
})));
"""


def cases(count):
    rng = random.Random(5)
    for _ in range(count):
        division = rng.choice([1, 5, 10, 20, 50])
        lines = []
        others = rng.choice([["hardener"], ["hardener"], ["filler", "hardener"]])
        for role, most in (("resin", 80_000), *((one, 12_000) for one in others)):
            for _ in range(rng.randint(1, 3)):
                target = rng.randint(1, most // division) * division
                weighed = rng.choice([0, 0, target, target + division, target - 2 * division])
                lines.append({
                    "id": len(lines), "role": role, "target": target, "weighed": max(0, weighed),
                    "target_kg": str(Decimal(target) / 10_000), "no_more": rng.random() < 0.1,
                })  # fmt: skip
        yield {
            "readability_g": str(Decimal(division) / 10), "decimals": 4, "lines": lines,
            "portions": [],
            "ratios": [
                {"role": one, "per_100": str(rng.choice([8, 12.5, 15, 42.7])),
                 "tolerance_percent": str(rng.choice([1, 2, 2.5, 5]))}
                for one in others
            ],
        }  # fmt: skip


def by_the_shop(case):
    rows = [
        WeighRow(
            line["role"], Decimal(line["target"]) / 10, Decimal(line["weighed"]) / 10,
            line["no_more"],
        )
        for line in case["lines"]
    ]  # fmt: skip
    ratios = {
        one["role"]: MixRatio(float(one["per_100"]), float(one["tolerance_percent"]))
        for one in case["ratios"]
    }
    found = bounds_of_rows(ratios, rows, Decimal(case["readability_g"]))
    return [[int(10 * one.aim_g), int(10 * one.low_g), int(10 * one.high_g)] for one in found]


def test_page_and_shop_give_the_same_aims_and_bounds():
    from playwright._impl._driver import compute_driver_executable

    node, _ = compute_driver_executable()
    asked = list(cases(400))
    script = POT.read_text(encoding="utf-8") + ASK
    run = subprocess.run(
        [node, "-e", script], input=json.dumps(asked), capture_output=True, text=True, timeout=60,
        check=True,
    )  # fmt: skip
    told = json.loads(run.stdout)
    assert len(told) == len(asked) == 400
    for case, answer in zip(asked, told, strict=True):
        assert answer == by_the_shop(case), case
