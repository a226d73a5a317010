"""Give roles for what belongs to all sites to those who hold them at every site today."""

from django.db import migrations
from django.db.models import Count


def give(apps, editor):
    """
    Keep today's rights where they were plain: with one site, or with a role at every site.

    Where nobody administers every site, the administrators of the default site, or of the oldest
    one, administer what belongs to all.
    """
    site = apps.get_model("shared", "Site")
    held = apps.get_model("shared", "Membership").objects
    given = apps.get_model("shared", "CompanyMembership").objects
    sites = site.objects.count()
    if sites < 2:
        return  # with one site a role there is one for all
    everywhere = held.values("user", "role").annotate(sites=Count("site", distinct=True))
    for row in everywhere.filter(sites=sites).order_by("user", "role"):
        given.get_or_create(user_id=row["user"], role=row["role"])
    if given.filter(role="administrator", user__is_active=True).exists():
        return
    first = site.objects.order_by("-is_default", "pk").first()
    for row in held.filter(site=first, role="administrator").order_by("user"):
        given.get_or_create(user_id=row.user_id, role="administrator")


class Migration(migrations.Migration):
    dependencies = [("shared", "0004_company_memberships")]
    operations = [migrations.RunPython(give, migrations.RunPython.noop)]
