"""How quick a large studio's pages are while many read them at once.

    deploy/measure load [--quick] [--kept FOLDER] [--database sqlite|postgresql] [--nginx]
                        [--uploads N]

A studio with 10,000 clips and 200 pupils, and three small ones beside it, are served by the
studio's own two web processes; 1, 8 and 32 connections ask for one page after the other, each as
soon as its last answer is there, while nothing else is asked. FOLDER keeps the studio for the next
time; without one it is made in a temporary folder, which takes minutes. With ``--uploads`` so many
pupils send recordings all the while, a megabyte a second each, and what that takes of the processor
counts with the pages'. A part of a recording is asked for by Range, as a player does.

A pupil's progress is of 2,000 clips in five years, in which 200,000 events were heard; it is asked
for once a week, not all day, and so its processor time alone is bounded. So is that of what else is
looked at now and then: the overview, the search, a history, the week of lessons, the audit.

*p50* and *p95* are the times until the whole answer was read. *Processor ms* is what the studio's
processes (nginx and PostgreSQL too, where they take part) spent per answer; unlike the others it
says the same, or nearly, on a busy machine. *Queries* are those of one request. This program and
the machine's other work take of the same cores: the load average is printed with the figures, and
so is how long a fixed piece of work took before and after. Shared machines differ by a half from
one minute to the next, so figures of two runs compare only where that is the same.
"""

import argparse
import contextlib
import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from .loading.connections import Answers, ask
from .loading.names import PROGRESS, RECORD
from .loading.school import Size
from .loading.serving import Studio, fill_postgres, fill_sqlite, served

CONNECTIONS = (1, 8, 32)
BOUND_AT = 8  # connections
P95_MS = 150.0
LISTS_A_SECOND = 60.0
PART_P95_MS = 50.0
RECORD_PROCESSOR_MS = 60.0
PROCESSOR_MS = 30.0  # two cores at 60 a second leave 33 ms, of which something else takes some
LONG_S, SHORT_S = 10.0, 3.0
WARM_S = 1.0
WORK_TIMES = 9


@dataclass(frozen=True, slots=True)
class Row:
    """What was measured of one page over so many connections."""

    page: str
    connections: int
    is_list: bool
    queries: int
    kb: float
    answers: Answers
    processor_ms: float

    def bounds(self) -> list[str]:
        """What it must reach at the bound's number of connections, and whether it does."""
        if self.connections != BOUND_AT or self.page == "desk, never judged":
            return []
        if self.page in (*PROGRESS, *RECORD):
            return [_processor(self.processor_ms, RECORD_PROCESSOR_MS)]
        p95, most = self.answers.percentile_ms(0.95), P95_MS
        most = PART_P95_MS if self.page == "part of a recording" else most
        said = [_bound(f"p95 ≤ {most:g} ms", p95 <= most)]
        if self.is_list:
            enough = self.answers.per_second >= LISTS_A_SECOND
            said.append(_bound(f"≥ {LISTS_A_SECOND:g} a second", enough))
        return [*said, _processor(self.processor_ms, PROCESSOR_MS)]

    def figures(self) -> dict[str, float]:
        return {
            "p50_ms": round(self.answers.percentile_ms(0.5), 1),
            "p95_ms": round(self.answers.percentile_ms(0.95), 1),
            "per_second": round(self.answers.per_second, 1),
            "processor_ms": round(self.processor_ms, 1),
            "queries": self.queries,
            "not_2xx": len(self.answers.wrong),
        }


def _processor(spent_ms: float, most_ms: float) -> str:
    return _bound(f"≤ {most_ms:g} processor ms", spent_ms <= most_ms)


def _bound(words: str, reached: bool) -> str:
    return f"{words}: {'reached' if reached else 'NOT YET'}"


def measure(studio: Studio, seconds: float, connections: tuple[int, ...]) -> Iterator[Row]:
    """Every page, over every number of connections, one after the other."""
    from .loading.asking import queries_and_size, requests_for
    from .loading.pages import pages

    for page in pages():
        queries, kb = queries_and_size(page)
        requests = requests_for(studio.server, page)
        ask(studio.server, requests, 1, WARM_S)
        for many in connections:
            before = studio.processor_s()
            answers = ask(studio.server, requests, many, seconds)
            spent = 1000 * (studio.processor_s() - before) / max(1, len(answers.seconds))
            yield Row(page.name, many, page.is_list, queries, kb, answers, spent)


HEAD = f"{'page':<22}{'conn.':>6}{'p50 ms':>9}{'p95 ms':>9}{'a second':>10}"
HEAD += f"{'proc. ms':>10}{'queries':>9}{'kB':>8}"


def line(row: Row) -> str:
    found = row.figures()
    said = f"{row.page:<22}{row.connections:>6}{found['p50_ms']:>9.0f}{found['p95_ms']:>9.0f}"
    said += f"{found['per_second']:>10.1f}{found['processor_ms']:>10.1f}{row.queries:>9}"
    said += f"{row.kb:>8.1f}"
    wrong = f"  {len(row.answers.wrong)} were refused" if row.answers.wrong else ""
    return said + wrong + "".join(f"\n{'':<24}{bound}" for bound in row.bounds())


@contextlib.contextmanager
def large_studio(chosen: argparse.Namespace, folder: Path) -> Iterator[Studio]:
    """The studio on the ground that was chosen, served."""
    import psutil

    size = Size(clips=chosen.clips, pupils=chosen.pupils)
    kept = Path(chosen.kept or folder / "kept").absolute()
    kept.mkdir(parents=True, exist_ok=True)
    if chosen.database == "sqlite":
        fill_sqlite(folder / "data", kept, size, chosen.nginx)
        with served(folder, nginx=chosen.nginx, also=[]) as studio:
            yield studio
        return
    from tests.servers import Postgres

    postgres = Postgres()
    try:
        postgres.start()
        database = postgres.create("load")
        fill_postgres(folder / "data", kept, size, chosen.nginx, database)
        also = [psutil.Process(postgres._process.pid)]
        with served(folder, nginx=chosen.nginx, also=also) as studio:
            yield studio
    finally:
        from django.db import connections

        connections.close_all()
        postgres.remove()


def beside(studio: Studio, many: int) -> contextlib.AbstractContextManager:
    """So many pupils who send all the while; what arrived of it, ``None`` where nobody does."""
    if not many:
        return contextlib.nullcontext()
    from .loading.uploading import senders, uploads_beside

    return uploads_beside(studio.server, senders(many))


def fixed_work_ms() -> float:
    """The processor time of a fixed piece of work in pure Python, in ms: the machine's pace now."""

    def once() -> float:
        begun = time.process_time()
        words = [f"{number:x}" for number in range(60_000)]
        assert len(json.loads(json.dumps({word: [word, len(word)] for word in words}))) == 60_000
        return 1000 * (time.process_time() - begun)

    return statistics.median(once() for _ in range(WORK_TIMES))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--quick", action="store_true", help="8 connections alone, for 3 s each")
    parser.add_argument("--kept", metavar="FOLDER", help="where the large studio is kept")
    parser.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")
    parser.add_argument("--nginx", action="store_true", help="with nginx in front, as deployed")
    parser.add_argument("--uploads", type=int, default=0, metavar="N", help="pupils who send")
    parser.add_argument("--clips", type=int, default=10_000)
    parser.add_argument("--pupils", type=int, default=200)
    chosen = parser.parse_args()
    figures: dict[str, dict] = {}
    with contextlib.ExitStack() as stack:
        name = stack.enter_context(tempfile.TemporaryDirectory(prefix="studio-load-"))
        studio = stack.enter_context(large_studio(chosen, Path(name)))
        load, before_ms = os.getloadavg()[0], fixed_work_ms()
        print(HEAD, flush=True)
        many = (BOUND_AT,) if chosen.quick else CONNECTIONS
        sent = stack.enter_context(beside(studio, chosen.uploads))
        for row in measure(studio, SHORT_S if chosen.quick else LONG_S, many):
            print(line(row), flush=True)
            figures.setdefault(row.page, {})[str(row.connections)] = row.figures()
        memory = studio.memory_mb()
        after_ms = fixed_work_ms()
    print(f"\nLoad average {load:.1f} before, {os.getloadavg()[0]:.1f} after, ", end="")
    print(f"on {os.cpu_count()} cores. The web processes held {memory:.0f} MB.")
    print(f"The fixed piece of work took {before_ms:.0f} ms before, {after_ms:.0f} ms after.")
    if sent is not None:
        print(f"Sent meanwhile: {sent.megabytes:.0f} MB; refused: {sent.wrong or 'nothing'}.")
    about = {
        "database": chosen.database,
        "nginx": chosen.nginx,
        "uploads": chosen.uploads,
        "load_1_min": round(load, 1),
    }
    about |= {"cores": os.cpu_count(), "fixed_work_ms": [round(before_ms), round(after_ms)]}
    print(json.dumps(about | {"pages": figures}))
    return 0


if __name__ == "__main__":
    sys.exit(main())
