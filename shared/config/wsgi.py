"""The web application as a server calls it."""

import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.config.settings.base")

application = get_wsgi_application()

# Pages, serializers and what they import are read now, not while the first person waits.
_ = get_resolver().reverse_dict
