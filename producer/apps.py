"""Django's name for this app."""

from importlib import import_module

from django.apps import AppConfig


class ProducerConfig(AppConfig):
    """The ``producer`` app."""

    name = "producer"

    def ready(self) -> None:
        """Register the system checks, and what notes the rows that are written."""
        import_module("producer.checks")
        import_module("producer.written")
