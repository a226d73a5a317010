"""The wiring of the project; loads the Celery application so that tasks find it."""

from shared.config.celery import app as celery_app

__all__ = ["celery_app"]
