"""The studio's own address, for links that are printed outside a request."""

from django.conf import settings


def site_address() -> str:
    """Scheme, host and port, as far as the settings tell them."""
    if settings.CSRF_TRUSTED_ORIGINS:
        return settings.CSRF_TRUSTED_ORIGINS[0].rstrip("/")
    host = settings.ALLOWED_HOSTS[0]
    return f"https://{host}" if settings.HTTPS else f"http://{host}:{settings.PORT}"
