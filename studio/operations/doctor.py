"""``python -m studio doctor``: tries each part, says how it is, what is wrong and what to do.

Nothing is left behind: a message that is sent is received, a file that is written is deleted. Each
part has five seconds.
"""

import secrets
import shutil
import sys
import tempfile
import wave
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

from django.conf import settings
from django.db import connection
from django.db.models.functions import Now
from django.utils import timezone

from studio import figures, media
from studio.celery import app
from studio.checks import COPIES
from studio.clips.storage.stores import store
from studio.workers import signs
from studio.workers.models import Worker

from . import bounded, explaining, parts

FINE, WRONG, NOTE = "fine", "WRONG", "note"
CLOCKS_APART = timedelta(seconds=10)
QUEUES = ("listening", "pictures", "sweep")
PROBE_BYTES = 1000


class Trouble(Exception):
    """What is wrong with a part, and what to do."""

    def __init__(self, wrong: str, then: str, *, is_note: bool = False) -> None:
        super().__init__(wrong)
        self.wrong, self.then, self.is_note = wrong, then, is_note


@dataclass(frozen=True, slots=True)
class Finding:
    """How one part is: FINE, WRONG or NOTE, in a sentence, and what to do."""

    name: str
    how: str
    says: str
    then: str = ""


def examine(letter_to: str = "") -> list[Finding]:
    """Try everything; the parts that need the database only where that answers."""
    found = [_tried("database", database)]
    if found[0].how == FINE:
        found += [_tried("migrations", migrations), _tried("clock", clock)]
    found += [
        _tried("queue", queue),
        _tried("store", recordings),
        _tried("disk", disk),
        _tried("decoders", decoders),
        _tried("sandbox", sandbox),
        _tried("static files", static_files),
        _tried("mail", lambda: mail(letter_to)),
    ]
    if found[0].how == FINE:
        found.append(_tried("workers", workers))
    return found


def main(letter_to: str = "") -> int:
    """Print what was found; 0 where nothing is wrong."""
    found = examine(letter_to)
    width = max(len(one.name) for one in found)
    for one in found:
        print(f"{one.how:5}  {one.name:{width}}  {one.says}")
        if one.then:
            print(f"{'':5}  {'':{width}}  {one.then}")
    wrong = [one.name for one in found if one.how == WRONG]
    sys.stdout.flush()
    if wrong:
        print(f"\n{figures.count(len(wrong), 'part is', 'parts are')} wrong: {', '.join(wrong)}.")
        return 1
    print("\nNothing is wrong.")
    return 0


def _tried(name: str, look: Callable[[], str]) -> Finding:
    try:
        return Finding(name, FINE, bounded.within(_with_own_connection(look)))
    except Trouble as trouble:
        how = NOTE if trouble.is_note else WRONG
        return Finding(name, how, trouble.wrong, trouble.then)
    except TimeoutError as late:
        return Finding(name, WRONG, f"This gave {late}.", "Look whether it hangs, or is far away.")
    except Exception as error:
        says = f"This could not be tried: {explaining.first_line(error)}."
        return Finding(name, WRONG, says, "Look into the log of that part.")


def _with_own_connection(look: Callable[[], str]) -> Callable[[], str]:
    def looked() -> str:
        try:
            return look()
        finally:
            connection.close()

    return looked


def database() -> str:
    try:
        bounded.within(parts.try_database, bounded.BOUND_S - 0.5)
    except Exception as error:
        raise Trouble(*explaining.of_database(error)) from error
    place = settings.DATABASES["default"]
    if place["ENGINE"].endswith(explaining.SQLITE):
        return f"SQLite in {place['NAME']} answers."
    return f"PostgreSQL at {place['HOST'] or 'this machine'} answers."


def migrations() -> str:
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    left = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if left:
        many = figures.count(len(left), "change", "changes")
        raise Trouble(
            f"{many} to the database are missing, the first {left[0][0]}.",
            "Back up, then run: python -m studio prepare.",
        )
    return "The database is as this version needs it."


def clock() -> str:
    """The database's clock rules leases; this machine's, sessions and links."""
    before = timezone.now()
    with connection.cursor() as cursor:
        sql = "SELECT strftime('%s','now')" if connection.vendor == "sqlite" else None
        cursor.execute(sql or "SELECT extract(epoch FROM clock_timestamp())")
        there = float(cursor.fetchone()[0])
    apart = abs(timedelta(seconds=there - before.timestamp()))
    if apart > CLOCKS_APART:
        raise Trouble(
            f"The clocks of this machine and of the database are {figures.ago(apart)} apart.",
            "Let both be set by the network (timedatectl set-ntp true).",
        )
    return "This machine and the database agree about the time."


def queue() -> str:
    try:
        parts.try_queue()
        _send_and_receive()
    except Exception as error:
        raise Trouble(*explaining.of_queue(error)) from error
    return "A message was sent and received."


def _send_and_receive() -> None:
    name, said = f"doctor-{uuid4().hex}", {"said": secrets.token_hex(8)}
    with app.connection_for_write() as broker:
        simple = broker.SimpleQueue(name, serializer="json")
        try:
            simple.put(said)
            message = simple.get(block=True, timeout=2)
            message.ack()
            if message.payload != said:
                raise OSError("another message came than was sent")
        finally:
            simple.queue.delete()
            simple.close()


def recordings() -> str:
    try:
        _write_read_delete()
    except Exception as error:
        raise Trouble(*explaining.of_store(error)) from error
    return "A file was written, read and deleted."


def _write_read_delete() -> None:
    place, name, said = store(), f"doctor/{uuid4().hex}", secrets.token_bytes(PROBE_BYTES)
    made = place.bench() / f"doctor-{uuid4().hex}"
    try:
        made.write_bytes(said)
        place.put(made, name)
        if b"".join(place.read(name, 0, PROBE_BYTES)) != said:
            raise OSError("other bytes came back than were written")
    finally:
        made.unlink(missing_ok=True)
        place.delete(name)


def disk() -> str:
    needed = COPIES * settings.MAX_UPLOAD_BYTES
    free = shutil.disk_usage(settings.STUDIO_DATA).free
    says = f"{figures.megabytes(free)} are free in {settings.STUDIO_DATA}"
    if free < needed:
        raise Trouble(
            f"{says}; one clip of the largest size can need {figures.megabytes(needed)}.",
            "Free some space, set STUDIO_DATA to a larger disk, or lower MAX_UPLOAD_BYTES.",
        )
    return f"{says}."


def decoders() -> str:
    """A second of sound is really decoded, as a recording would be."""
    with tempfile.TemporaryDirectory(prefix="studio-doctor-") as folder:
        source, made = Path(folder) / "probe.wav", Path(folder) / "heard.wav"
        with wave.open(str(source), "wb") as sound:
            sound.setnchannels(1)
            sound.setsampwidth(2)
            sound.setframerate(8000)
            sound.writeframes(bytes(2 * 8000))
        bounds = media.Limits(max_bytes=10**6, max_duration_s=10.0)
        try:
            info = media.probe(source, bounds)
            media.extract_sound(source, made, info, bounds)
        except media.MediaError as error:
            why = explaining.first_line(error)
            raise Trouble(
                f"A second of sound could not be decoded: {why}.",
                "Install ffmpeg and ffprobe, or set FFMPEG and FFPROBE to their paths.",
            ) from error
    return "A second of sound was decoded."


def sandbox() -> str:
    for problem in media.check_tools():
        if problem.code in ("no_sandbox", "sandbox_missing"):
            raise Trouble(problem.sentence, problem.hint, is_note=problem.code == "no_sandbox")
    return "Recordings are opened in a sandbox (bubblewrap)."


def static_files() -> str:
    if settings.DEBUG:
        return "DEBUG is 1: they are taken from the program's folder."
    if not (Path(settings.STATIC_ROOT) / "staticfiles.json").is_file():
        raise Trouble(
            "The static files (styles, scripts) are not collected: no page can be shown.",
            "Run: python -m studio prepare.",
        )
    return "They are collected."


def mail(letter_to: str) -> str:
    if not settings.MAIL:
        raise Trouble(
            "No mail is sent: EMAIL_URL is not set.",
            "Nothing, if that is meant; links are then handed on by people.",
            is_note=True,
        )
    from django.core.mail import get_connection, send_mail

    place = f"{settings.EMAIL_HOST}:{settings.EMAIL_PORT}"
    server = get_connection(timeout=bounded.BOUND_S - 1)
    try:
        server.open()
        if letter_to:
            body = "This letter was sent by python -m studio doctor.\n"
            send_mail("A letter to try", body, None, [letter_to], connection=server)
    except Exception as error:
        raise Trouble(
            f"The mail server at {place} cannot be used: {explaining.first_line(error)}.",
            "Correct EMAIL_URL (server, user, password, encryption).",
        ) from error
    finally:
        server.close()
    return f"The server at {place} took {'a letter' if letter_to else 'a connection'}."


def workers() -> str:
    missing = [name for name in QUEUES if not signs.taking(name, signs.alive()).exists()]
    if missing:
        raise Trouble(
            f"No worker has given a sign of life lately for: {', '.join(missing)}.",
            "Nothing, if the studio is not started; else start its workers, or look at their log.",
            is_note=True,
        )
    latest = Worker.objects.filter(seen_at__lte=Now()).count()
    return f"Every queue has a worker; {figures.count(latest, 'worker is', 'workers are')} known."
