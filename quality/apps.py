"""Django's name for this app."""

from django.apps import AppConfig


class QualityConfig(AppConfig):
    """The ``quality`` app."""

    name = "quality"
