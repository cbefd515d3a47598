"""Pages are compressed on their way; recordings, pictures and what is compressed already are not.

A page that holds a secret and echoes what a visitor typed could give the secret away by its
compressed length (BREACH, Gluck, Harris and Prado 2013). Three things stand against that:
Django's middleware pads every answer with up to 100 random bytes (since Django 4.2; Heal the
Breach, Palacios et al. 2022), the CSRF token is masked anew in every page, and the session's
cookie is SameSite=Lax, so that another site cannot ask for pages in a visitor's name again and
again.
"""

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

COMPRESSED = ("text/", "application/json", "application/xml", "application/javascript", "image/svg")


class CompressPages(GZipMiddleware):
    """Django's own, for text alone: a recording asked for by Range has to stay as it is."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        is_text = response.get("Content-Type", "").startswith(COMPRESSED)
        if not is_text or response.status_code == 206 or response.streaming:
            return response
        return super().process_response(request, response)
