"""The description of the API, worked out once in each process and then handed out as it is."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.utils.cache import get_conditional_response
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularJSONAPIView


@lru_cache(maxsize=1)
def built() -> tuple[bytes, str]:
    """Return the description as JSON, and its ETag; two seconds of work, done once."""
    generator = SchemaGenerator(api_version=None)
    body = OpenApiJsonRenderer().render(generator.get_schema(request=None, public=True))
    return body, f'"{hashlib.sha256(body).hexdigest()[:32]}"'


class Description(SpectacularJSONAPIView):
    """`openapi.json`, for anybody; a caller who sends the ETag back gets 304."""

    @extend_schema(exclude=True)
    def get(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Return the description."""
        body, tag = built()
        answer = HttpResponse(body, content_type=OpenApiJsonRenderer.media_type)
        answer["ETag"] = tag
        answer["Cache-Control"] = "public, no-cache"
        return get_conditional_response(request, etag=tag, response=answer) or answer
