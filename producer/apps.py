"""Django's name for this app."""

from django.apps import AppConfig


class ProducerConfig(AppConfig):
    """The ``producer`` app."""

    name = "producer"
