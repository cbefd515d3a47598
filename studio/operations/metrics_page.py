"""The page that what watches the service reads: OpenMetrics 1.0 text.

The format is that of "OpenMetrics, a cloud-native, highly scalable metrics protocol" 1.0
(draft-ietf-opsawg-openmetrics, also in the Prometheus documentation); prometheus-client writes it.
Figures of rows are read when asked for; what each web process counts by itself is put together.

Who may read it: whoever brings ``METRICS_TOKEN`` as a bearer token; where none is set, a program on
this machine that comes straight to the web process and through no proxy. Everybody else gets the
404 of what does not exist.
"""

import ipaddress
import secrets

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest

from .gauges import registry

# What a proxy adds: then the address is the proxy's, whoever asks.
BY_PROXY = ("HTTP_X_FORWARDED_FOR", "HTTP_FORWARDED", "HTTP_X_REAL_IP", "HTTP_VIA")


@login_not_required
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    if not may_read(request):
        return HttpResponse(status=404, headers={"Cache-Control": "no-store"})
    body = generate_latest(registry())
    headers = {"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"}
    return HttpResponse(body, content_type=CONTENT_TYPE_LATEST, headers=headers)


def may_read(request: HttpRequest) -> bool:
    if settings.METRICS_TOKEN:
        kind, _, brought = request.headers.get("Authorization", "").partition(" ")
        right = secrets.compare_digest(brought.strip().encode(), settings.METRICS_TOKEN.encode())
        return kind.lower() == "bearer" and right
    return not any(name in request.META for name in BY_PROXY) and _is_loopback(
        request.META.get("REMOTE_ADDR", "")
    )


def _is_loopback(address: str) -> bool:
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return (mapped or found).is_loopback
