from __future__ import annotations

import json
import time
import urllib.error
import urllib.request
from argparse import ArgumentParser
from decimal import Decimal
from typing import Any

from django.core.management.base import BaseCommand, CommandError

STEPS = 12
"""Readings on the way to the target."""


class Command(BaseCommand):
    help = (
        "Stand in for a scale: post what it would show while somebody pours up to a weight. "
        "simulated_scale --token T --site DEMO --scale S1 --to 0.7905"
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default="http://localhost:8000")
        parser.add_argument("--token", required=True, help="with the scope weighings:write")
        parser.add_argument("--site", required=True)
        parser.add_argument("--scale", required=True)
        parser.add_argument("--to", type=Decimal, required=True, metavar="KG")
        parser.add_argument("--every", type=float, default=0.4, metavar="SECONDS")
        parser.add_argument("--hold", type=int, default=30, help="stable readings at the end")

    def handle(self, *args: Any, **options: Any) -> None:
        step = options["to"] / STEPS
        readings = [(step * n, False) for n in range(STEPS)]
        readings += [(options["to"], True)] * options["hold"]
        for kg, stable in readings:
            self._post(options, kg.quantize(Decimal("0.0001")), stable)
            time.sleep(options["every"])

    def _post(self, options: dict[str, Any], kg: Decimal, stable: bool) -> None:
        body = {
            "site": options["site"],
            "scale": options["scale"],
            "kg": str(kg),
            "stable": stable,
        }
        request = urllib.request.Request(
            f"{options['address'].rstrip('/')}/api/v1/scale-readings",
            json.dumps(body).encode(),
            {
                "Content-Type": "application/json",
                "Authorization": f"Bearer {options['token']}",
            },
        )
        try:
            with urllib.request.urlopen(request, timeout=10):
                self.stdout.write(f"{kg} kg{'' if stable else ' ...'}")
        except urllib.error.HTTPError as error:
            raise CommandError(f"{error.code}: {_words(error.read())}") from error
        except urllib.error.URLError as error:
            raise CommandError(f"{options['address']} does not answer: {error.reason}") from error


def _words(body: bytes) -> str:
    """Return the sentence of a problem, or what was answered instead of one."""
    try:
        return str(json.loads(body)["detail"])
    except (ValueError, KeyError, TypeError):
        return body[:200].decode(errors="replace")
