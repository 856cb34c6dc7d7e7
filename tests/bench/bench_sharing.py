"""How much it takes to share 40 loads over 12 supplies, proven: python -m tests.bench.bench_sharing [seeds]."""

import sys
import time

from monitor.planning.sharing import share_load
from tests.planning.test_sharing import forty_loads_on_twelve

FILLINGS = (0.5, 0.8, 0.9, 0.95, 0.98, 1.0, 1.05)
"""Share of all that the twelve could take within the reserve."""


def main():
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    print(f"{'filling':>8}{'seed':>6}  {'outcome':24}{'CPU s':>8}")
    for filling in FILLINGS:
        for seed in range(1, seeds + 1):
            needs, offers = forty_loads_on_twelve(seed, filling)
            cpu_s = time.process_time()
            plan = share_load(needs, offers)
            outcome = f"{'fits' if plan.fits else f'{len(plan.left_out)} left out'}, {'' if plan.proven else 'NOT '}proven"
            print(f"{filling:8.2f}{seed:6}  {outcome:24}{time.process_time() - cpu_s:8.2f}", flush=True)


if __name__ == "__main__":
    main()
