"""The tolerance of each row: page, sheet, PDF and REST agree, and follow what is weighed."""

import io
from decimal import Decimal

from django.test import Client
from pypdf import PdfReader

from planning.batches.models import Batch
from planning.core.casting.mixing import MixRatio
from planning.weigh_in import actions
from shared import clock
from shop import stores
from tests.callers import caller
from tests.conftest import make_user


def told(batch):
    """Return aim and bounds of every row as page, sheet and API tell them, and the texts."""
    user = make_user("technician", batch.site)
    page, rest = Client(), caller(user, [batch.site])
    page.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    day = clock.local(batch.planned_start, batch.site).date()
    (row,) = rest.get(f"/api/v1/sheets/{day}?site={batch.site.code}").json()["batches"]
    sources = (
        page.get(f"/batches/{batch.pk}/state.json").json()["lines"],
        row["lines"],
        rest.get(f"/api/v1/batches/{batch.pk}").json()["lines"],
    )
    names = ("aim_kg", "low_kg", "high_kg")
    figures = [[[Decimal(str(line[name])) for name in names] for line in rows] for rows in sources]
    pdf = PdfReader(io.BytesIO(page.get(f"/sheets/{day}.pdf").content))
    texts = (
        page.get(f"/sheets/{day}/").content.decode(),
        " ".join(one.extract_text() for one in pdf.pages),
    )
    return figures, [" ".join(text.split()) for text in texts]


def weigh(line, kg, batch):
    actions.record_weighing(
        line=line, weighed_kg=kg, key=f"w{line.pk}", at=batch.planned_start,
        now=batch.planned_start,
    )  # fmt: skip


def test_all_say_the_same_bounds_and_the_worst_of_them_keeps_the_ratio(planned, shop_site):
    planned()
    batch = Batch.objects.get()
    (page, sheet, rest), texts = told(batch)
    assert page == sheet == rest
    info = stores.system(batch.system_id)
    ratio = MixRatio(float(info.hardener_per_100), float(info.ratio_tolerance_percent))
    for _, low, high in page:
        for text in texts:
            assert f"{low:.3f} to {high:.3f}" in text or f"{low:.4f} to {high:.4f}" in text
    (_, low_r, high_r), (_, low_h, high_h) = page
    assert ratio.keeps(float(low_r), float(high_h))
    assert ratio.keeps(float(high_r), float(low_h))
    assert high_r > low_r
    assert high_h > low_h


def test_hardener_follows_the_resin_that_was_really_weighed_everywhere(planned, shop_site):
    planned()
    batch = Batch.objects.get()
    resin, _ = batch.lines.order_by("order")
    (before, _, _), _ = told(batch)
    weigh(resin, resin.high_kg, batch)
    (page, sheet, rest), texts = told(Batch.objects.get())
    assert page == sheet == rest
    (_, (aim, low, high)) = page
    assert aim > before[1][0]
    info = stores.system(batch.system_id)
    ratio = MixRatio(float(info.hardener_per_100), float(info.ratio_tolerance_percent))
    for kg in (low, aim, high):
        assert ratio.keeps(float(resin.high_kg), float(kg))
    assert high - low > before[1][2] - before[1][1], "the whole tolerance is left to the last row"
    for text in texts:
        assert f"{low:.3f} to {high:.3f}" in text or f"{low:.4f} to {high:.4f}" in text
