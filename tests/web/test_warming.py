"""What first pages need is there before they are asked for, and no connection with it."""

import pytest
from django.db import connections
from django.template import engines

from studio.accounts import access, compiled
from studio.web import warming

pytestmark = pytest.mark.django_db


def test_templates_and_queries_are_loaded(settings, monkeypatch):
    closed = []
    monkeypatch.setattr(type(connections), "close_all", lambda self: closed.append(True))
    access._taught_place.made.clear()
    warming.warm()
    assert closed
    assert access._taught_place.made, "put into SQL"
    rows = engines[compiled.ENGINE].env
    names = {name for _, name in iter(rows.cache)}
    assert "review/waiting_groups.html" in names
    (loader,) = engines["django"].engine.template_loaders
    assert any("review/desk.html" in str(key) for key in loader.get_template_cache)
