"""Addresses: the whole site, and those of the premises."""

from django.urls import include, path

urlpatterns = [
    path("", include("producer.addresses")),
    path("", include("batches.urls")),
    path("", include("quality.urls")),
]
