"""What fields read as empty, and that a patch leaves out members of a row, not of its parts."""

import pytest

from shared.access.models import Site
from shared.api import fields
from shared.api.serializers import StrictSerializer


class Part(StrictSerializer):
    name = fields.TextField()
    times = fields.WholeField(default=1)


class Whole(StrictSerializer):
    remark = fields.TextField(allow_blank=True, required=False)
    price = fields.DecimalField(max_digits=6, decimal_places=2, allow_null=True, required=False)
    site = fields.RelatedIdField(queryset=Site.objects.all(), allow_null=True, required=False)
    parts = Part(many=True, required=False)


def read(**body):
    serializer = Whole(data=body, partial=True)
    serializer.is_valid(raise_exception=False)
    return serializer.errors or serializer.validated_data


def test_null_clears_what_may_be_empty():
    assert read(remark=None, price=None, site=None) == {
        "remark": "",
        "price": None,
        "site": None,
    }


@pytest.mark.parametrize("name", ["price", "site"])
@pytest.mark.parametrize("text", ["", " "])
def test_an_empty_text_is_neither_a_figure_nor_a_row(name, text):
    ((error,),) = read(**{name: text}).values()
    assert error.code in ("not_decimal", "not_an_id")


def test_a_patch_may_leave_out_any_member():
    assert read() == {}


def test_a_part_in_a_patch_is_whole():
    assert read(parts=[{"name": "a"}]) == {"parts": [{"name": "a", "times": 1}]}
    assert read(parts=[{"times": 2}])["parts"][0]["name"][0].code == "required"


def test_a_patch_stays_a_patch_after_its_parts():
    serializer = Whole(data={"parts": [{"times": 2}]}, partial=True)
    assert not serializer.is_valid()
    assert serializer.partial
