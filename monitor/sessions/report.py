"""The report of a session: one page that prints, with everything in it."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from html import escape
from importlib import resources
from string import Template

from monitor.layout import Layout
from monitor.sessions.figures import STALLS, DistrictReview, SessionReview, Spread, SupplyReview, review, supply_table
from monitor.sessions.folder import SessionFolder
from monitor.sessions.pictures import clock_words, counted, time_line
from monitor.sessions.readings_log import StoredDistrict, load_readings
from monitor.sessions.remedies import REMEDIES
from monitor.standing.words import AT_LEAST, WORD_OF_CAUSE
from monitor.values import Event, Priority
from monitor.values import Warning as RaisedWarning
from monitor.words.figures import percent

ROWS_LIMIT = 200
"""Of each table; the whole is in the session's own files."""
CLOSE_SHARE = 0.8
PLOT_COLUMNS = ("volts_rms", "amps_rms", "amps_highest", "volt_amperes")

CAUTION = (
    "pilotlamp watches and advises; it is no protection. The breaker or fuse in each supply protects: never bypass it or fit a larger "
    "one. Work on the low-voltage side only; whatever is on the mains side is for a licensed practitioner, and local codes and the "
    "maker's instructions come first."
)


def report(
    session: SessionFolder,
    outstanding: Sequence[str] = (),
    layout: Layout | None = None,
    held_against: Sequence[str] | None = None,
) -> str:
    """One self-contained HTML page.

    Args:
        session: The session.
        outstanding: Bench checks and the like that are still open, one sentence each.
        layout: Another layout to hold the figures against; its own when None.
        held_against: What is to be said of that other layout and its protections, one sentence each; None by its own.

    Raises:
        SessionError: It cannot be understood.
    """
    layout = layout or session.layout()
    figures = review(session, layout)
    stored = load_readings(session, PLOT_COLUMNS)
    sections = (
        _head(figures),
        _another_layout(held_against),
        _mend(figures, outstanding),
        _ran(figures),
        _close(figures, layout, stored),
        _stalled(figures),
        _caution(),
        _courses(figures, stored),
    )
    page = Template(resources.files("monitor.sessions").joinpath("report.html").read_text(encoding="utf-8"))
    title = f"{figures.title}, {_day(figures.began_at)}"
    body = "\n".join(map("\n".join, sections))
    return page.substitute(title=escape(title), foot=_css_text(title), body=body)


def _css_text(text: str) -> str:
    """As it may stand between quotes in a style sheet (CSS Syntax, escapes): nothing in it ends the string or the sheet."""
    return "".join(each if each.isalnum() or each in " ,.:-" else f"\\{ord(each):x} " for each in text)


def _head(figures: SessionReview) -> Iterator[str]:
    began = figures.began_at.astimezone()
    ended = began + timedelta(seconds=figures.duration_s)
    yield f"<h1>{escape(figures.title)}</h1>"
    yield f'<p class="day">{_day(began)}, {began:%H:%M} to {ended:%H:%M}</p>'
    if figures.invented:
        yield '<p class="invented">Invented: a demonstration by the rehearsal model. Nothing here was measured.</p>'
    yield '<dl class="key">'
    yield from (
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd><dd>{escape(more)}</dd></div>"
        for name, value, more in _key_figures(figures)
    )
    yield "</dl>"
    yield f'<p class="small">Session {escape(figures.name)}. Times are hours, minutes and seconds from the beginning of the watch.</p>'


def _key_figures(figures: SessionReview) -> Iterator[tuple[str, str, str]]:
    """What somebody asks first: a name, a figure, and what belongs to it."""
    hourly = figures.stalls_an_hour
    high = sum(warning.priority is Priority.HIGH for warning in figures.warnings)
    opened = [supply for supply in figures.supplies if supply.opened_after_s]
    closest = max(figures.supplies, key=lambda supply: supply.share_highest or 0.0, default=None)
    yield "Watched for", clock_words(figures.duration_s), counted(len(figures.districts), "district")
    yield "Stalls", str(figures.stalls), "" if hourly is None else f"{hourly:.0f} an hour"
    yield "Warnings", str(len(figures.warnings)), f"{high} of high priority"
    times = sum(len(supply.opened_after_s) for supply in opened)
    yield "Protection opened", "never" if not opened else f"{times} ×", ", ".join(supply.name for supply in opened)
    if closest is not None and closest.share_highest is not None:
        yield "Most of a nameplate", f"{AT_LEAST[closest.clipped]}{percent(closest.share_highest)}", closest.name


def _another_layout(sentences: Sequence[str] | None) -> Iterator[str]:
    if sentences is not None:
        yield "<h2>Held against another layout</h2>"
        yield from (f"<p>{escape(sentence)}</p>" for sentence in sentences)


def _ran(figures: SessionReview) -> Iterator[str]:
    yield "<h2>What ran</h2>"
    heads = ("District", "measured", "volts mean", "lowest", "amps mean", "mostly below", "highest", "VA highest", "Wh", "stalls")
    yield _table(heads, (_district_cells(district) for district in figures.districts), words=(9,), named=True)
    yield '<p class="small">Means over time of one-cycle RMS; mostly below: no higher for 95 % of the time; VA: highest one-second mean. '
    yield "≥: amps reached the end of the sensor's range, at least so much flowed.</p>"


def _close(figures: SessionReview, layout: Layout, stored: dict[str, StoredDistrict]) -> Iterator[str]:
    yield "<h2>What came close</h2>"
    heads = (
        "Supply",
        "VA mean",
        "mostly below",
        "highest",
        "of plate",
        "over 80\u00a0%",
        "over 100\u00a0%",
        "resistance, ohms",
        "opened after",
    )
    yield _table(heads, (_supply_cells(supply) for supply in figures.supplies), words=(8,), named=True)
    yield '<p class="small">Mostly below: no higher for 95 % of the time. Resistance: volts that the supply loses for each amp more. '
    yield "Opened after: how long it had been above its protection's rating by then.</p>"
    for supply in layout.supply:
        at_s, va, _amps = supply_table(layout, supply.name, stored)
        ticks = [(w.start_s, w.message) for w in figures.warnings if w.scope.name.split("/")[0] == supply.name]
        picture = time_line(at_s, va, unit="VA", limit=supply.plate_va, limit_name="nameplate", marks=ticks)
        yield f"<figure><figcaption>{escape(supply.name)}: volt-amperes of all its outputs together; triangles: warnings</figcaption>"
        yield f"{picture}</figure>"
    if figures.warnings:
        yield "<h3>Warnings</h3>"
        yield _table(
            ("When", "for", "priority", "where", "what"),
            (_warning_cells(warning) for warning in figures.warnings[:ROWS_LIMIT]),
            words=(3, 4),
        )
        yield from _more(len(figures.warnings))


def _stalled(figures: SessionReview) -> Iterator[str]:
    yield "<h2>What stalled, and why</h2>"
    faults = [event for event in figures.events if event.cause.is_fault]
    if not faults:
        yield "<p>Nothing: no fault was diagnosed.</p>"
        return
    heads = ("When", "for", "district", "cause", "sure")
    yield _table(heads, (_event_cells(event) for event in faults[:ROWS_LIMIT]), words=(2, 3))
    yield from _more(len(faults))


def _mend(figures: SessionReview, outstanding: Sequence[str]) -> Iterator[str]:
    yield "<h2>What to mend before the next show</h2>"
    items = [*_mend_items(figures)]
    yield _boxes(items) if items else "<p>Nothing that this session showed.</p>"
    yield "<h3>Bench checks outstanding</h3>"
    yield _boxes(outstanding) if outstanding else "<p>None.</p>"
    if figures.losses:
        yield "<h3>Missing from this recording</h3>"
        yield _boxes(figures.losses)


def _mend_items(figures: SessionReview) -> Iterator[str]:
    counts = Counter((event.district, event.cause) for event in figures.events if event.cause.is_fault)
    for (district, cause), count in counts.most_common():
        times = "once" if count == 1 else f"{count} times"
        yield f"{district}: {WORD_OF_CAUSE[cause]} {times}. {' '.join(REMEDIES[cause])}"
    for supply in figures.supplies:
        if supply.share_highest is not None and supply.share_highest > CLOSE_SHARE:
            yield f"{supply.name}: reached {percent(supply.share_highest)} of its nameplate: move some of its load to another supply."


def _caution() -> Iterator[str]:
    yield f'<div class="whole"><h2>Caution</h2><p class="small">{CAUTION}</p></div>'


def _courses(figures: SessionReview, stored: dict[str, StoredDistrict]) -> Iterator[str]:
    yield "<h2>Every district</h2>"
    for district in figures.districts:
        rows = stored.get(district.name)
        if rows is None:
            continue
        ticks = [(event.start_s, WORD_OF_CAUSE[event.cause]) for event in figures.events if event.district == district.name]
        yield f'<div class="whole"><h3>{escape(district.name)}</h3>'
        yield "<figure><figcaption>Amps, highest one-cycle RMS; triangles: events</figcaption>"
        yield time_line(rows.at_s, rows.figures["amps_highest"], unit="A", marks=ticks) + "</figure>"
        yield "<figure><figcaption>Volts, RMS</figcaption>"
        yield time_line(rows.at_s, rows.figures["volts_rms"], unit="V") + "</figure></div>"
    if figures.marks:
        yield "<h3>Marks</h3>"
        yield _table(("When", "remark"), ((clock_words(mark.at_s), mark.text) for mark in figures.marks), words=(1,))


def _district_cells(district: DistrictReview) -> tuple[str, ...]:
    volts, amps, va = district.volts, district.amps, district.volt_amperes
    of_volts, of_amps, of_power = (
        AT_LEAST[each] for each in (district.volts_clipped, district.amps_clipped, district.power_clipped)
    )
    return (
        district.name,
        clock_words(district.measured_s),
        of_volts + _part(volts, "mean"),
        _figure(district.volts_lowest),
        of_amps + _part(amps, "mean", 2),
        of_amps + _part(amps, "high", 2),
        of_amps + _part(amps, "highest", 2),
        of_power + _part(va, "highest"),
        of_power + _figure(district.energy_wh, 2),
        ", ".join(f"{WORD_OF_CAUSE[cause]} {district.stalls[cause]}" for cause in STALLS if cause in district.stalls) or "0",
    )


def _supply_cells(supply: SupplyReview) -> tuple[str, ...]:
    va, of_power = supply.volt_amperes, AT_LEAST[supply.clipped]
    return (
        supply.name,
        *(of_power + _part(va, part) for part in ("mean", "high", "highest")),
        "–" if supply.share_highest is None else f"{of_power}{percent(supply.share_highest)}",
        *(f"{supply.above_s[share]:.0f} s" for share in sorted(supply.above_s)),
        _figure(supply.source_ohms, 2),
        ", ".join(f"{seconds:.0f} s" for seconds in supply.opened_after_s) or "–",
    )


def _warning_cells(warning: RaisedWarning) -> tuple[str, ...]:
    where = f"{warning.scope.kind} {warning.scope.name}"
    lasted = _lasted(warning.start_s, warning.end_s)
    return (clock_words(warning.start_s), lasted, warning.priority.word, where, f"{warning.message} {warning.advice}".strip())


def _event_cells(event: Event) -> tuple[str, ...]:
    sure = f"{percent(event.confidence)}"
    return (clock_words(event.start_s), _lasted(event.start_s, event.end_s), event.district, WORD_OF_CAUSE[event.cause], sure)


def _lasted(start_s: float, end_s: float | None) -> str:
    return "to the end" if end_s is None else f"{end_s - start_s:.1f} s"


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]], words: Sequence[int] = (), *, named: bool = False) -> str:
    """Columns of words may wrap, others not; in a named table the first column holds names."""

    def cells(row: Sequence[str], tag: str) -> str:
        return "".join(
            f"<{tag}{' class=words' if column in words else ''}>{escape(cell)}</{tag}>" for column, cell in enumerate(row)
        )

    body = "".join(f"<tr>{cells(row, 'td')}</tr>" for row in rows)
    kind = ' class="named"' if named else ""
    return f'<div class="wide"><table{kind}><thead><tr>{cells(heads, "th")}</tr></thead><tbody>{body}</tbody></table></div>'


def _boxes(items: Iterable[str]) -> str:
    """Each to be ticked off: what is the matter in bold, what to do after it."""
    parts = (item.partition(". ") for item in items)
    rows = (f"<b>{escape(what)}.</b> {escape(to_do)}" if to_do else escape(what) for what, _, to_do in parts)
    return '<ul class="boxes">' + "".join(f'<li class="box">{row}</li>' for row in rows) + "</ul>"


def _more(count: int) -> Iterator[str]:
    if count > ROWS_LIMIT:
        yield f'<p class="small">{count - ROWS_LIMIT} more are in the session\'s own files.</p>'


def _figure(value: float | None, digits: int = 1) -> str:
    return "–" if value is None else f"{value:.{digits}f}"


def _part(spread: Spread | None, part: str, digits: int = 1) -> str:
    return _figure(None if spread is None else getattr(spread, part), digits)


def _day(moment: datetime) -> str:
    return f"{moment.astimezone():%d %B %Y}"
