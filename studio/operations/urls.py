from django.urls import path

from . import probes, service_page

urlpatterns = [
    path("health", probes.health, name="health"),
    path("ready", probes.ready, name="ready"),
    path("metrics", probes.metrics, name="metrics"),
    path("operator/", service_page.service, name="operator"),
    path("operator/try-again/", service_page.try_again, name="operator_try_again"),
]
