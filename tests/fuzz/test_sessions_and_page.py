"""Hostile sessions, packed sessions and requests. Examples are the same in every run; the command draws new ones."""

import io
import json
import zipfile

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fuzz import targets

SAME = settings(max_examples=20, deadline=None, derandomize=True)
MANY = settings(max_examples=100, deadline=None, derandomize=True)

json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@st.composite
def changes(draw):
    """What becomes of a file: bytes turned, cut, put in, JSON values exchanged, or gone."""
    how = draw(st.sampled_from(["turn", "cut", "insert", "whole", "gone", "json", "json"]))
    place, data = draw(st.floats(0, 1)), draw(st.binary(min_size=1, max_size=40))
    value, field = draw(json_values), draw(st.integers(0, 30))

    def change(old):
        at = int(place * len(old))
        if how == "turn":
            return old[:at] + data + old[at + len(data) :]
        if how == "cut":
            return old[:at]
        if how == "insert":
            return old[:at] + data + old[at:]
        if how == "json":
            return _json_changed(old, place, field, value)
        return data if how == "whole" else None

    return change


def _json_changed(old, place, field, value):
    """One value of a JSON file, or of one line of it, is another."""
    rows = old.splitlines() if not old.startswith(b"{\n") else [old]
    if not rows:
        return json.dumps(value).encode() + b"\n"
    at = min(int(place * len(rows)), len(rows) - 1)
    try:
        row = json.loads(rows[at])
        row[sorted(row)[field % len(row)]] = value
    except (ValueError, TypeError, ZeroDivisionError):
        row = value
    rows[at] = json.dumps(row).encode("utf-8", "replace")
    return b"\n".join(rows) + b"\n"


KINDS = ("events", "warnings", "findings", "actions", "disturbances", "patterns", "phasings", "boards", "ports", "losses")


@st.composite
def hurt_sessions(draw):
    which = draw(st.integers(0, 1))
    there = targets.files_of(targets.sessions()[which])
    name = draw(st.sampled_from([*there, *(f"{kind}.jsonl" for kind in KINDS), "raw/port-9-0001.wire", "steps/steps-0002.csv"]))
    return which, name, draw(changes())


@given(hurt_sessions())
@settings(SAME, max_examples=40)
def test_a_session_of_which_a_file_was_changed_is_read_or_refused_in_plain_words(hurt):
    targets.read_session(*hurt)


@given(
    st.sampled_from(KINDS),
    st.lists(
        json_values
        | st.dictionaries(
            st.sampled_from(
                [
                    "id",
                    "at_s",
                    "start_s",
                    "priority",
                    "rule",
                    "kind",
                    "board",
                    "port",
                    "name",
                    "step",
                    "identity",
                    "cause",
                    "districts",
                ]
            ),
            json_values,
        ),
        max_size=5,
    ),
)
@SAME
def test_lines_that_say_anything_are_read_or_left_out(kind, rows):
    data = b"".join(json.dumps(row).encode("utf-8", "replace") + b"\n" for row in rows)
    targets.read_session(0, f"{kind}.jsonl", lambda old: old + data)


entry_names = st.sampled_from([
    "../evil.json", "/etc/evil.json", "s/manifest.json", "s/closing.json", "s/raw/../../evil.xz", "s/raw/port-1-0001.wire.xz",
    "s\\raw\\evil.xz", "C:/evil.json", "s/readings/x.parquet", "s/.hidden.json", "s/raw/con.wire", "t/manifest.json", "s/",
    "s//manifest.json",
    "s/layout.toml", "s/evil.sh", "./manifest.json", "s/raw/\u202egnp.xz",
]) | st.text(max_size=20)  # fmt: skip


@st.composite
def bundles(draw):
    """A ZIP of anything."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", draw(st.sampled_from([zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED]))) as bundle:
        for name in draw(st.lists(entry_names, max_size=6, unique=True)):
            try:
                entry = zipfile.ZipInfo(name.replace("\0", ""))
                entry.external_attr = draw(st.sampled_from([0, 0o100644, 0o120777, 0o040755])) << 16
                bundle.writestr(entry, draw(st.binary(max_size=60) | json_values.map(lambda value: json.dumps(value).encode())))
            except (ValueError, UnicodeEncodeError):
                continue
    return made.getvalue()


@given(bundles())
@MANY
def test_a_bundle_of_anything_is_refused_and_leaves_nothing_behind(data):
    targets.unpack_bytes(data)


@given(changes())
@MANY
def test_a_changed_bundle_is_unpacked_whole_or_refused(change):
    targets.unpack_bytes(change(targets.bundle()) or b"")


hostile_texts = st.text(max_size=40) | st.sampled_from([
    "../../../../etc/passwd", "..%2f..%2f..%2fetc%2fpasswd", "/etc/passwd", "....//....//etc/passwd", "..\\..\\etc\\passwd", "file:///etc/passwd",
    "<script>alert(1)</script>", "%00", "\0", "${7*7}", "{{7*7}}", "' OR 1=1 --", "Outer main", "nan", "-1", "1e999", "9" * 400, "\ud800",
])  # fmt: skip
hostile_values = json_values | hostile_texts | st.lists(hostile_texts, max_size=2)
methods = st.sampled_from(["GET", "GET", "GET", "POST", "POST", "PUT", "DELETE", "HEAD", "OPTIONS", "PATCH"])
header_lists = st.lists(
    st.tuples(
        st.sampled_from(["X-Pilotlamp", "Origin", "Cookie", "Content-Type", "Accept-Encoding", "Sec-Fetch-Site", "Range"]),
        st.sampled_from(["act", "null", "http://localhost", "pilotlamp_visit=x", "application/json", "gzip", "same-origin", "*", "é"]),
    ),
    max_size=3,
)  # fmt: skip


@st.composite
def addresses(draw):
    """An address of the page with anything in its open places, or any other."""
    rule = draw(st.sampled_from(targets.page()[1]))
    path = ""
    for piece in rule.split("<"):
        _converter, closes, rest = piece.partition(">")
        path += draw(hostile_texts | st.just("3")) + rest if closes else piece
    return path if draw(st.integers(0, 5)) else "/" + draw(hostile_texts)


bodies = st.binary(max_size=200) | hostile_values.map(lambda value: json.dumps(value).encode("utf-8", "replace")) | st.fixed_dictionaries(
    {"kind": st.sampled_from(["mark", "mute", "shelve", "acknowledge", "x"])},
    optional=dict.fromkeys(("warning_id", "minutes", "district", "text", "supply", "answers", "passphrase", "secret"), hostile_values),
).map(lambda value: json.dumps(value).encode("utf-8", "replace"))  # fmt: skip


@given(
    methods,
    addresses(),
    st.dictionaries(st.sampled_from(["name", "event", "after", "x", "w"]), hostile_texts, max_size=2),
    header_lists,
    bodies,
)
@settings(MANY, max_examples=300)
def test_no_request_is_answered_by_a_fault_or_a_file(method, path, query, headers, body):
    targets.ask(method, path.encode("utf-8", "replace").decode(), query=_utf8(query), headers=headers, body=body)


@given(st.integers(0, 40), st.lists(hostile_values, min_size=6, max_size=6))
@MANY
def test_no_callback_is_answered_by_a_fault(number, values):
    callbacks = [each for each in targets.page()[2] if not each.get("clientside_function")]
    targets.call_back(callbacks[number % len(callbacks)], values)


def _utf8(query):
    return {name: value.encode("utf-8", "replace").decode() for name, value in query.items()}
