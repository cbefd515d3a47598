"""Where a form asks to be led afterwards."""

from django.utils.http import url_has_allowed_host_and_scheme


def own_path(wanted: str, otherwise: str) -> str:
    """The path that is wanted, if it is one of this host's own.

    >>> own_path("/waiting/?rows=60", "/"), own_path("//other.example/", "/"), own_path("home", "/")
    ('/waiting/?rows=60', '/', '/')
    """
    its_own = wanted.startswith("/") and url_has_allowed_host_and_scheme(wanted, allowed_hosts=None)
    return wanted if its_own else otherwise
