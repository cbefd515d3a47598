"""An S3-compatible store on this machine, over real HTTP."""

import pytest
from moto.server import ThreadedMotoServer

from studio import environment
from studio.clips.storage.stores import ObjectStore


@pytest.fixture(scope="module")
def object_store_server():
    """A local server that speaks S3; it checks no signatures."""
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    yield "{}:{}".format(*server.get_host_and_port())
    server.stop()


@pytest.fixture
def bucket(object_store_server, settings, monkeypatch, tmp_path):
    """An empty bucket, and settings as OBJECT_STORE makes them."""
    monkeypatch.setenv("OBJECT_STORE", f"s3://key:secret@{object_store_server}/clips?tls=0")
    options = environment.object_store("OBJECT_STORE")
    settings.OBJECT_STORE, settings.STUDIO_DATA = options, tmp_path / "data"
    backend = {"BACKEND": "storages.backends.s3.S3Storage", "OPTIONS": options}
    settings.STORAGES = settings.STORAGES | {"clips": backend}
    bucket = ObjectStore().storage.bucket
    bucket.create()
    yield bucket
    bucket.objects.all().delete()
    bucket.delete()
