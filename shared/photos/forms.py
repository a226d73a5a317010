"""Photos over REST: handed in as one file of a form, read again as JPEG."""

from __future__ import annotations

from typing import Any

from django.core.files.base import ContentFile
from django.http import Http404, HttpResponse

from shared.api import fields
from shared.api.serializers import StrictSerializer
from shared.api.uploads import AnyFile, Upload, UploadField
from shared.photos.cleaning import MOST_BYTES, clean_photo


class Jpeg(AnyFile):
    """`image/jpeg`, and problems as JSON where there is no photo."""

    media_type = "image/jpeg"
    format = "jpeg"


class PhotoSerializer(StrictSerializer):
    """A photo, `multipart/form-data`: JPEG, PNG or WebP, at most 15 MB and 40 megapixels."""

    file = UploadField(write_only=True)


class WordedPhotoSerializer(PhotoSerializer):
    """A photo with what it shows."""

    words = fields.TextField(required=False, max_length=400, allow_blank=True, default="")


def cleaned(upload: Upload) -> ContentFile:
    """Return the picture of an upload made anew; no more of it is read than may be taken."""
    return clean_photo(ContentFile(upload.head(MOST_BYTES), name=upload.name))


def jpeg(photo: Any) -> HttpResponse:
    """Answer a kept photo."""
    if not photo:
        raise Http404("There is no photo.")
    with photo.open("rb") as file:
        return HttpResponse(file.read(), content_type="image/jpeg")
