"""Fuzzing led by coverage: ``python -m tests.bench.fuzz wire --seconds 600``; targets: wire, layout, session, unpack, page.

Needs atheris (``pip install -e .[fuzz]``; Linux). A crash prints its traceback and leaves the input in a file ``crash-...`` of the
current folder; ``python -m tests.bench.fuzz wire --again FILE`` runs it again.
"""

import argparse
import sys
import tempfile
from pathlib import Path

try:
    import atheris
except ImportError:
    sys.exit(
        "fuzz: this needs atheris: pip install -e .[fuzz] (Linux with CPython 3.11 to 3.13); the suite's own fuzzing does without"
    )

with atheris.instrument_imports(include=["monitor", "dashboard"]):
    from tests.fuzz import targets
from tests.layout.fernhollow import FERNHOLLOW
from tests.runtime.streams import packed_stream, sine_counts

METHODS = ["GET", "POST", "PUT", "DELETE", "OPTIONS"]


def session(data):
    """The first bytes say which file, where and how; the rest is what it becomes there."""
    source = atheris.FuzzedDataProvider(data)
    which = source.ConsumeIntInRange(0, 1)
    name = source.PickValueInList(targets.files_of(targets.sessions()[which]))
    place, how = source.ConsumeFloatInRange(0.0, 1.0), source.ConsumeIntInRange(0, 3)
    new = source.ConsumeBytes(source.remaining_bytes())

    def change(old):
        at = int(place * len(old))
        return (old[:at] + new + old[at + len(new) :], old[:at], old[:at] + new + old[at:], new)[how]

    targets.read_session(which, name, change)


def page(data):
    source = atheris.FuzzedDataProvider(data)
    _client, rules, callbacks = targets.page()
    if source.ConsumeBool():
        callback = source.PickValueInList([each for each in callbacks if not each.get("clientside_function")])
        targets.call_back(callback, [source.ConsumeUnicodeNoSurrogates(30) for _ in range(6)])
        return
    path = source.PickValueInList(rules).partition("<")[0] + source.ConsumeUnicodeNoSurrogates(20)
    query = source.ConsumeUnicodeNoSurrogates(20)
    targets.ask(
        source.PickValueInList(METHODS), path, query=query, headers=[("X-Pilotlamp", "act")], body=source.ConsumeBytes(300)
    )


TARGETS = {
    "wire": targets.decode,
    "layout": targets.read_layout,
    "session": session,
    "unpack": targets.unpack_bytes,
    "page": page,
}
SEEDS = {
    "wire": lambda: [packed_stream(sine_counts(0.3)), b"b,bench-1,2,100\nr,0,0,15.0,2.0*00\nr,100,1,12.0,1.0,11.0\n" * 3],
    "layout": lambda: [FERNHOLLOW.encode()],
    "unpack": lambda: [targets.bundle()],
}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("target", choices=TARGETS)
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--again", type=Path, help="run one input again")
    args = parser.parse_args()
    if args.again is not None:
        TARGETS[args.target](args.again.read_bytes())
        return
    with tempfile.TemporaryDirectory() as corpus:
        for number, seed in enumerate(SEEDS.get(args.target, list)()):
            (Path(corpus) / str(number)).write_bytes(seed)
        options = [f"-max_total_time={args.seconds}", "-max_len=65536", "-rss_limit_mb=2000", "-timeout=60"]
        atheris.Setup([sys.argv[0], *options, corpus], TARGETS[args.target])
        atheris.Fuzz()


if __name__ == "__main__":
    main()
