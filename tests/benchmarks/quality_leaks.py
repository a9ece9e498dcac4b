"""Publish 300 random collections with private things in every field and metadata block; count what leaks.

Run: ``python tests/benchmarks/quality_leaks.py [HOW MANY]``. The search for leaks shares no code with the program.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from test_handover_leaks import TODAY, leaking, plant

from surrogate.handover.site import publish


def main(count: int = 300) -> None:
    """Print the table."""
    found: list[str] = []
    planted = shown = hidden = 0
    for seed in range(1000, 1000 + count):
        with tempfile.TemporaryDirectory() as name:
            collection, site = Path(name, "collection"), Path(name, "site")
            whole, words = plant(collection, seed)
            report = publish(collection, site, today=TODAY)
            planted += len(words)
            shown += report.shown
            hidden += report.hidden
            found += leaking(site, whole, words)
    print(f"{'collections':24} {count:>8}\n{'private words planted':24} {planted:>8}")
    print(f"{'originals shown':24} {shown:>8}\n{'originals kept back':24} {hidden:>8}\n{'leaks':24} {len(found):>8}")
    for leak in found[:10]:
        print(leak)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
