"""A reply recorded with a comment, as a browser sends it."""

from django.core.files.uploadedfile import SimpleUploadedFile

SAID = {"kind": "bow", "text": "", "start_s": "0:04.2", "form_key": "one"}


def comment(client, clip, recording: bytes | None, *, script: bool = True, **said):
    brought = {} if recording is None else {"recording": file(recording)}
    headers = {"X-Desk": "parts"} if script else {}
    return client.post(f"/clips/{clip.pk}/comments/", SAID | said | brought, headers=headers)


def file(content: bytes, name: str = "../../etc/passwd.txt") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content, content_type="text/html")
