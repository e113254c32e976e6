"""Addresses: the whole site, and those of the premises."""

from django.urls import include, path

urlpatterns = [
    path("", include("producer.addresses")),
    # Before those of making: “bottles/move/” is no filling lot called “move”.
    path("", include("quality.urls")),
    path("", include("batches.urls")),
]
