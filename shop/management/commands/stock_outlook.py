import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared.access.models import Site
from shared.errors import Invalid
from shop.outlook import forms, queries


class Command(BaseCommand):
    help = (
        "Stock ahead: which material runs short when, for which pours, and the last day to "
        "order. python manage.py stock_outlook --days 90 --json"
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--site", help="code of the site; the default one when left out")
        parser.add_argument("--days", default=str(queries.USUAL_DAYS), help="how far to look")
        parser.add_argument("--material", help="code of one material, day by day")
        parser.add_argument("--json", action="store_true", help="print as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        site = self._site(options["site"])
        try:
            days = forms.checked_days(options["days"])
        except Invalid as error:
            raise CommandError(error.message) from error
        rows = queries.rows(site, days=days)
        code = options["material"]
        if code is not None:
            ids = [row.material.pk for row in rows if row.material.code == code]
            if not ids:
                raise CommandError(f"material is {code!r}; no stock, need or receipt of it.")
            rows = queries.rows(site, days=days, material_ids=ids)
        if options["json"]:
            items = [forms.plain(row, daily=code is not None) for row in rows]
            found = {"site": site.code, "days": days, "items": items}
            self.stdout.write(json.dumps(found, indent=1, ensure_ascii=False))
            return
        for row in rows:
            self.stdout.write(self._line(row))
        if not rows:
            self.stdout.write(f"{site}: no stock, no needs and no receipts.")

    def _site(self, code: str | None) -> Site:
        sites = Site.objects.order_by("-is_default", "code")
        found = sites.filter(code=code).first() if code else sites.first()
        if found is None:
            known = ", ".join(site.code for site in sites) or "none yet"
            raise CommandError(f"Which site? Give --site CODE; known: {known}.")
        return found

    def _line(self, row: queries.Row) -> str:
        ahead, unit = row.outlook, row.material.unit
        line = f"{row.material.code}: {ahead.opening:.3f} {unit} in date"
        if row.first_short_on:
            short = ahead.short_pours[0]
            line += f", short from {row.first_short_on} by {short.quantity:.3f} {unit}"
            line += f" for {short.pour}"
            line += f", order by {row.last_order_on}" if row.last_order_on else ", no supplier"
        if ahead.at_risk:
            line += f", {ahead.lost:.3f} {unit} will expire unused from {row.first_expiry_on}"
        return line + "."
