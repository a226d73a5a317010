"""Addresses of the workbench: pages, and calculators below /api/v1/."""

from django.urls import path

from planning.workbench import pages, views
from planning.workbench.calculators import CALCULATORS

urlpatterns = [
    path("workbench/", pages.workbench, name="workbench"),
    path("workbench/<slug:name>/", pages.calculator, name="calculator"),
]
api_urlpatterns = [
    path("workbench", views.WorkbenchView.as_view(), name="api-workbench"),
    *(
        path(f"workbench/{one.name}", views.view_of(one), name=f"api-workbench-{one.name}")
        for one in CALCULATORS.values()
    ),
]
