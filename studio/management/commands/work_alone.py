"""One piece of leased work in a process of its own: see :mod:`studio.jobs.isolation`."""

import logging

from django.apps import apps
from django.core.management.base import BaseCommand
from django.utils.module_loading import import_string

from studio.jobs import leases, runner, shutdown

log = logging.getLogger(__name__)


class Command(BaseCommand):
    help = "Do one piece of work that was claimed; for workers, which start this themselves."
    requires_system_checks = ()

    def add_arguments(self, parser) -> None:
        parser.add_argument("model", help="the kind of row: clips.Stage")
        parser.add_argument("pk")
        parser.add_argument("token", help="of the lease")
        parser.add_argument(
            "action", help="the function that does it: studio.clips.processing.renditions.listen_to"
        )
        parser.add_argument("what", help="for the log")

    def handle(
        self, *args, model: str, pk: str, token: str, action: str, what: str, **more
    ) -> None:
        rows = apps.get_model(model)._default_manager.filter(pk=pk, lease_token=token)
        held = leases.patiently(rows.first)
        if held is None:
            log.info("%s: another worker has it by now", what)
            return
        with shutdown.at_work():
            runner.end(held, what, import_string(action), lambda: None)
