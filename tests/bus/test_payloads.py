"""Payloads against their JSON Schemas (checked by the jsonschema library), topics against RFC 3986, and any bytes at all."""

import json
from pathlib import Path
from urllib.parse import unquote

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.bus.broker import KINDS, LEVEL_LIMIT_CHARACTERS, Address, escaped, parse_topic, station_filter, unescaped
from monitor.bus.payloads import PAYLOAD_LIMIT_BYTES, TYPES, BusFault, Received, decode, encode
from monitor.bus.schemas import schema_text
from tests.bus.bodies import ONE_OF_EACH, presence, readings, warning

SCHEMAS = Path(__file__).parents[2] / "firmware_notes" / "bus"
TOPIC = "pilotlamp/1/Hall%202/Fernhollow/{}"


def validator(kind):
    shipped = json.loads((SCHEMAS / f"{kind}.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(shipped)
    return jsonschema.Draft202012Validator(shipped)


@pytest.mark.parametrize("kind", TYPES)
def test_shipped_schemas_are_those_of_the_code(kind):
    assert (SCHEMAS / f"{kind}.schema.json").read_text(encoding="utf-8") == schema_text(kind)


@pytest.mark.parametrize("kind", TYPES)
def test_what_is_sent_is_valid_and_comes_back_the_same(kind):
    body = ONE_OF_EACH[kind]()
    payload = encode(body)
    validator(kind).validate(json.loads(payload))
    got = decode(TOPIC.format(kind), payload)
    assert isinstance(got, Received)
    assert got.body == body
    assert got.address == Address(hall="Hall 2", station="Fernhollow", kind=kind)


@pytest.mark.parametrize("kind", TYPES)
def test_what_the_schema_refuses_the_decoder_refuses(kind):
    good = json.loads(encode(ONE_OF_EACH[kind]()))
    check = validator(kind)
    tried = 0
    for key, value in good.items():
        for bad in ({**good, key: {"x": 1}}, {**good, key: "\0" * 5000}, {**good, key: -(10**30)}, {**good, key: [[["x"]]]}):
            if bad[key] == value or check.is_valid(bad):
                continue
            tried += 1
            assert isinstance(decode(TOPIC.format(kind), json.dumps(bad).encode()), BusFault), (key, bad[key])
    assert tried > 2 * len(good)


def test_keys_of_later_versions_of_a_sender_are_passed_over():
    more = {**json.loads(encode(presence())), "humidity": 40}
    assert isinstance(decode(TOPIC.format("presence"), json.dumps(more).encode()), Received)


@pytest.mark.parametrize(
    "change",
    [
        {"volts": [[1.0]]},
        {"rows": 2},
        {"rows": 10**9},
        {"districts": ["Outer main", "Outer main"]},
        {"va": []},
    ],
)
def test_columns_that_do_not_fit_are_a_fault(change):
    bad = {**json.loads(encode(readings())), **change}
    assert isinstance(decode(TOPIC.format("readings"), json.dumps(bad).encode()), BusFault)


@pytest.mark.parametrize(
    "payload",
    [b"", b"null", b"[" * 60_000, b'{"a":' * 10_000, b"\xff\xfe", b"NaN", b'{"v":1e999}', encode(warning())[:-1]],
)
@pytest.mark.parametrize("kind", TYPES)
def test_rubbish_is_a_fault(kind, payload):
    assert isinstance(decode(TOPIC.format(kind), payload), BusFault)


def test_a_payload_too_long_is_a_fault_before_it_is_read():
    got = decode(TOPIC.format("lines"), b" " * (PAYLOAD_LIMIT_BYTES + 1))
    assert isinstance(got, BusFault)
    assert got.reason == "too-long"


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4),
    max_leaves=12,
)


@given(st.sampled_from(KINDS), st.binary(max_size=300) | JSON.map(lambda made: json.dumps(made).encode()))
def test_any_payload_gives_a_value_or_a_fault(kind, payload):
    assert isinstance(decode(TOPIC.format(kind), payload), Received | BusFault)


@given(st.sampled_from(list(TYPES)), st.data())
def test_a_good_message_with_one_part_changed_gives_a_value_or_a_fault(kind, data):
    good = json.loads(encode(ONE_OF_EACH[kind]()))
    good[data.draw(st.sampled_from(sorted(good)))] = data.draw(JSON)
    assert isinstance(decode(TOPIC.format(kind), json.dumps(good).encode()), Received | BusFault)


@given(st.text(max_size=80))
def test_any_topic_gives_an_address_or_nothing(text):
    for topic in (text, f"pilotlamp/1/{text}/x/readings", f"pilotlamp/1/x/{text}/readings", f"pilotlamp/1/x/y/{text}"):
        found = parse_topic(topic)
        assert found is None or found.topic == topic


NAMES = st.text(st.characters(exclude_categories=("C", "Z")) | st.just(" "), min_size=1, max_size=80).filter(
    lambda name: len(escaped(name)) <= LEVEL_LIMIT_CHARACTERS
)


@given(NAMES, NAMES)
def test_names_come_back_and_mean_nothing_to_a_broker(hall, station):
    address = Address(hall=hall, station=station, kind="readings")
    assert parse_topic(address.topic) == address
    assert not set(escaped(hall)) & set("+#/$ ")
    # Percent-encoding as the standard library's own inverse reads it (RFC 3986).
    assert unquote(escaped(hall)) == hall


def test_names_that_folders_and_topics_trip_over():
    assert escaped("..") == "%2E%2E"
    assert escaped("Town/lights #2+") == "Town%2Flights%20%232%2B"
    assert unescaped("a%2fb") is None  # one spelling for each name
    assert unescaped("a%0Ab") is None  # no control characters
    # With "station=" before and ".sqlite-wal" behind it is a file's name of at most 255 bytes, the limit of common file systems.
    assert unescaped(escaped("駅" * 22)) == "駅" * 22
    assert unescaped(escaped("駅" * 23)) is None
    assert station_filter("Hall 2", "readings", "c") == "$share/c/pilotlamp/1/Hall%202/+/readings"
    assert station_filter(None, "events") == "pilotlamp/1/+/+/events"
