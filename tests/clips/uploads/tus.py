"""What a client of tus 1.0.0 sends, by Django's test client."""

import base64

from django.test import Client

from tests.samples import SAMPLE

DATA = SAMPLE.read_bytes()
TUS = {"tus-resumable": "1.0.0"}
BYTES = "application/offset+octet-stream"


def words(**said: str) -> str:
    pairs = said.items()
    return ",".join(f"{name} {base64.b64encode(text.encode()).decode()}" for name, text in pairs)


def begin(client: Client, length: int = len(DATA), **said: str):
    headers = TUS | {"upload-length": str(length)}
    return client.post(
        "/uploads/", content_type="", headers=headers | {"upload-metadata": words(**said)}
    )


def begun(client: Client, length: int = len(DATA), **said: str) -> str:
    answer = begin(client, length, **said)
    assert answer.status_code == 201
    return answer["Location"]


def patch(client: Client, address: str, offset: int, data: bytes, **headers: str):
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    kind = named.pop("content-type", BYTES)
    return client.patch(
        address,
        data,
        content_type=kind,
        CONTENT_TYPE=kind,  # Django's client leaves it out where there are no bytes
        headers=TUS | {"upload-offset": str(offset)} | named,
    )


def offset_of(client: Client, address: str) -> int:
    answer = client.head(address, headers=TUS)
    assert answer.status_code == 200
    return int(answer["Upload-Offset"])
