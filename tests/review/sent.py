"""A recording sent as the page's script sends it."""

from base64 import b64encode

from django.test import Client

TUS = {"tus-resumable": "1.0.0"}
BYTES = "application/offset+octet-stream"


def begin(client: Client, length: int, at: str = "/uploads/", **said: str):
    """The first request of the script: how long the recording is, and the words about it."""
    said = {"filename": "clip.mp4", "key": "a-key"} | said
    pairs = [f"{name} {b64encode(text.encode()).decode()}" for name, text in said.items()]
    headers = TUS | {"upload-length": str(length), "upload-metadata": ",".join(pairs)}
    return client.post(at, content_type="", headers=headers)


def in_pieces(client: Client, data: bytes, at: str = "/uploads/", **said: str):
    """What the script sends: the recording in pieces, then the question what became of it."""
    address = begin(client, len(data), at, **said)["Location"]
    half = len(data) // 2
    for first, last in ((0, half), (half, len(data))):
        headers = TUS | {"upload-offset": str(first)}
        client.patch(address, data[first:last], content_type=BYTES, headers=headers)
    return client.post(address.replace("/uploads/", "/send/") + "arrived/")
