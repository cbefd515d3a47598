from django.core.management.base import BaseCommand

from studio.clips.parking import parked


class Command(BaseCommand):
    help = "List the messages that this version did not understand, and so did not act on."

    def handle(self, *args, **options) -> None:
        found = list(parked())
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
