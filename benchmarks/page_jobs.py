"""Ten whole jobs at the page in a real browser: one row for each job, size and theme.

Run as `python benchmarks/page_jobs.py [JOB ...] [--size phone ...] [--theme light ...]
[--browser firefox]`. A row passes where the job ends as it should and each of its steps is clean:
axe-core with all its rules in both themes, no text cut off or broken, no layout that moves.
"""

import argparse
import sys
import tempfile
import time
import traceback
from itertools import product
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from page_jobs import JOBS
from page_maker import SIZES, THEMES, WINDOWS, Look, Maker, window
from playwright.sync_api import sync_playwright
from served_page import served


def attempt(name: str, look: Look, pictures: Path | None) -> tuple[float, str]:
    """Seconds that one job takes, and what went wrong in it; "" where nothing did."""
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        jobs = Path(folder) / "jobs"
        jobs.mkdir()
        with served(jobs) as server, window(playwright, look) as page:
            maker, fault = Maker(page, look, moves=True, pictures=pictures), ""
            page.goto(server.address)
            try:
                JOBS[name].run(maker)
            except Exception as error:
                at = [
                    f
                    for f in traceback.extract_tb(error.__traceback__)
                    if "page_jobs" in f.filename
                ]
                fault = f"line {at[-1].lineno}: {str(error).strip() or type(error).__name__}"
                if pictures is not None:
                    maker.picture("failed")
    return time.monotonic() - begun, fault


def main() -> int:
    """Print the table; the exit status says whether every row passed."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("job", nargs="*", help=f"of: {', '.join(JOBS)}")
    given.add_argument("--size", nargs="+", choices=WINDOWS, default=list(SIZES))
    given.add_argument("--theme", nargs="+", choices=THEMES, default=list(THEMES))
    given.add_argument("--browser", choices=("chromium", "firefox"), default="chromium")
    given.add_argument("--pictures", type=Path, help="a folder for a picture of every step")
    asked = given.parse_args()
    failed = 0
    for name, size, theme in product(asked.job or JOBS, asked.size, asked.theme):
        row = f"{name:28} {size:8} {theme:6}"
        if not JOBS[name].possible:
            print(f"{row} not run: {JOBS[name].case} is not beside the project", flush=True)
            continue
        seconds, fault = attempt(name, Look(size, theme, asked.browser), asked.pictures)
        failed += bool(fault)
        print(f"{row} {seconds:6.1f} s  {'FAIL' if fault else 'pass'}", flush=True)
        if fault:
            print(f"    {fault[:2000]}", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
