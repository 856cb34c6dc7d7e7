"""``pilotlamp report``: a session as a page that prints, as PDF, as a table for spreadsheet programs."""

import argparse
import shutil
import subprocess
import tempfile
from pathlib import Path

from monitor.cli.plain_output import Progress
from monitor.errors import SessionError
from monitor.layout import Layout, load_layout
from monitor.planning.bench_check import outstanding, today_here
from monitor.sessions import SessionFolder
from monitor.sessions.csv_export import export_csv
from monitor.sessions.report import report

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
PDF_WITHIN_S = 120


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("session", type=Path, metavar="SESSION", help="the session's folder")
    parser.add_argument("--out", type=Path, metavar="FILE.html", help="the page to write; by default named as the session")
    parser.add_argument("--layout", type=Path, metavar="LAYOUT.toml", help="hold the figures against another layout")
    parser.add_argument("--pdf", action="store_true", help="also as PDF, by the installed Chromium")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="paper of the PDF (%(default)s)")
    parser.add_argument("--csv", type=Path, metavar="FILE.csv", help="also the readings as a table for spreadsheet programs")


def run(args: argparse.Namespace) -> int:
    """Write what was asked for and say where."""
    session = SessionFolder(args.session)
    session.manifest()
    layout = session.at_its_ports(load_layout(args.layout)) if args.layout is not None else session.layout()
    page = args.out if args.out is not None else Path(f"{session.name}.html")
    held_against = None if layout == session.layout() else _held_against(session, layout, args.layout)
    html = report(session, outstanding(layout, today=today_here()), layout, held_against)
    try:
        page.write_text(html, encoding="utf-8")
    except OSError as error:
        raise SessionError(f"{page} cannot be written ({error.strerror}): give another place with --out") from error
    print(page)
    if args.pdf:
        print(_pdf(html, page.with_suffix(".pdf"), args.paper))
    if args.csv is not None:
        with Progress("writing the table", len(list(session.readings.glob("*.parquet")))) as progress:
            rows = export_csv(session, args.csv, progress.reached)
        print(f"{args.csv}: {rows} rows")
    return 0


def _held_against(session: SessionFolder, layout: Layout, path: Path) -> list[str]:
    """Which other layout was used, and what its protections would have done."""
    # Imported here: a report by the session's own layout needs no pipeline.
    from monitor.cli.sift_session import would_open_verdicts  # noqa: PLC0415 - start-up time

    first_s = session.manifest().first_s
    used = (
        f"Figures that depend on ratings are held against another layout, {path.name}; warnings and stalls are the session's own."
    )
    return [used, *(each.line(first_s) for each in would_open_verdicts(session, layout))]


def _pdf(html: str, path: Path, paper: str) -> Path:
    browser = next(filter(None, map(shutil.which, BROWSERS)), None)
    if browser is None:
        raise SessionError("a PDF needs Chromium: install it (apt install chromium), or print the page from any browser")
    sized = html.replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>", 1)
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "report.html"
        source.write_text(sized, encoding="utf-8")
        command = [
            browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={path.resolve()}", source.as_uri(),
        ]  # fmt: skip
        try:
            done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=PDF_WITHIN_S)  # noqa: S603 - its own page, no shell
        except subprocess.TimeoutExpired as error:
            raise SessionError(f"{browser} did not finish the PDF in {PDF_WITHIN_S} s: print the page from a browser") from error
    if done.returncode or not path.exists():
        complaint = done.stderr.strip().splitlines()[-1:] or ["no word"]
        raise SessionError(f"{browser} could not make the PDF ({complaint[0]}): print the page from a browser")
    return path
