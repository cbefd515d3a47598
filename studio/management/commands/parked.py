"""What is kept for whoever looks after the server."""

from django.core.management.base import BaseCommand

from studio.jobs.dead_letters import parked_messages, parked_work


class Command(BaseCommand):
    help = "List the work that was parked, and the messages that this version did not understand."

    def handle(self, *args, **options) -> None:
        self._work()
        self._messages()

    def _work(self) -> None:
        found = list(parked_work())
        for one in found:
            self.stdout.write(
                f"{one.since.isoformat(timespec='minutes')} {one.name}: {one.what}\n"
                f"    {one.code}, {one.attempts} attempts, {one.worker_deaths} deaths of workers"
            )
            for line in one.detail.splitlines()[-3:]:
                self.stdout.write(f"    {line}")
        if found:
            self.stdout.write(
                f"{len(found)} pieces of work are parked; what they are about is kept. When the "
                "cause is gone: python -m studio try_again NAME, or --all."
            )
        else:
            self.stdout.write("No work is parked.")

    def _messages(self) -> None:
        found = list(parked_messages())
        for path, message in found:
            self.stdout.write(
                f"{message['parked_at']} {message['task']}: {message['reason']}\n"
                f"    {message['said']}\n    {path}"
            )
        if found:
            self.stdout.write(
                f"{len(found)} are parked. The clips they name are sent again by themselves; "
                "a file that is no longer of use may be removed."
            )
        else:
            self.stdout.write("No message is parked.")
