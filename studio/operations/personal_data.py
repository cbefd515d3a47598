"""What the tables of the workers answer: no person is in any of them."""

from studio.accounts.personal_data import impersonal
from studio.workers.models import Pace, Standing, Worker

impersonal(Worker, "A worker process and its last sign of life.")
impersonal(Standing, "How a part of the service stood when it was last looked at.")
impersonal(Pace, "How long a recording of some length took; neither whose nor which.")
