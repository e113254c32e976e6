"""Django's name for this app."""

from django.apps import AppConfig


class BatchesConfig(AppConfig):
    """The ``batches`` app."""

    name = "batches"
