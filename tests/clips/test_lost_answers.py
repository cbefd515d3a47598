"""A database that dies after it has committed: the answer is lost, and nothing else is."""

import pytest
from django.db import OperationalError

from studio.clips import services
from studio.clips.models import Clip
from studio.clips.storage.stores import FolderStore
from tests.faults.at_work import SAMPLE

DATA = SAMPLE.read_bytes()


@pytest.mark.django_db(transaction=True)
def test_a_recording_whose_rows_were_written_keeps_its_file(enrolment, monkeypatch):
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: True)

    really = services._save_once

    def loses_the_answer(*args):
        really(*args)
        raise OperationalError("the server closed the connection unexpectedly")

    with monkeypatch.context() as patched:
        patched.setattr(services, "_save_once", loses_the_answer)
        with pytest.raises(OperationalError):
            services.receive(enrolment, enrolment.pupil, [DATA], "a.mp4", upload_key="1")
    clip = Clip.objects.get()
    assert FolderStore().path(clip.original.path).read_bytes() == DATA
    again = services.receive(enrolment, enrolment.pupil, [DATA], "a.mp4", upload_key="1")
    assert again == clip, "who sends it again gets the same clip"
    assert FolderStore().path(clip.original.path).read_bytes() == DATA


@pytest.mark.django_db(transaction=True)
def test_a_recording_whose_rows_were_not_written_leaves_no_file(enrolment, monkeypatch):
    def fails(*args, **kwargs):
        raise OperationalError("the server closed the connection unexpectedly")

    monkeypatch.setattr(services.examination, "begin", fails)
    with pytest.raises(OperationalError):
        services.receive(enrolment, enrolment.pupil, [DATA], "a.mp4")
    assert not Clip.objects.exists()
    assert not list(FolderStore().path("clips").rglob("original"))
