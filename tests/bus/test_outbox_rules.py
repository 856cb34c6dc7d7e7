"""What the outbox promises, for any order of things that can happen to it."""

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.bus.outbox import LETTER_COST_BYTES, Outbox

LIMIT_BYTES = 4000
_ACTS = st.lists(
    st.tuples(st.sampled_from(["reading", "notice", "acknowledge", "drop"]), st.integers(0, 60)), max_size=150
)  # fmt: skip


@settings(max_examples=100)
@given(_ACTS)
def test_order_bounds_and_counts_hold_whatever_happens(acts):
    outbox, now_s, made, confirmed = Outbox(None, limit_bytes=LIMIT_BYTES), 1000.0, {True: [], False: []}, set()
    number = 0
    for act, value in acts:
        now_s += value
        if act in ("reading", "notice"):
            number += 1
            made[act == "notice"].append(number)
            outbox.put("t", b"%d" % number + b"." * 100, notice=act == "notice", name=(f"boot {number % 2}", number))
        elif act == "drop":
            for body in outbox.waiting(notice=value % 2 == 0, after=0, most=value):
                outbox.drop(body.id)
                confirmed.add(int(body.payload.rstrip(b".")))
        else:
            sent = {body.id for kind in (True, False) for body in outbox.waiting(notice=kind, after=0, most=10)}
            outbox.acknowledge([("boot 1", value, value + 5), ("boot 1", value, value)], sent, now_s)
            confirmed |= {n for n in range(value, value + 6) if n % 2 and n in sent}
        waiting = {kind: numbers(outbox, kind) for kind in (True, False)}
        for kind in (True, False):
            assert waiting[kind] == sorted(set(waiting[kind]))  # in order, each once
            assert set(waiting[kind]) <= set(made[kind])
        assert outbox.waiting_count == len(waiting[True]) + len(waiting[False])
        assert sum(len(str(n)) + 101 + LETTER_COST_BYTES for n in waiting[True] + waiting[False]) <= LIMIT_BYTES
        missing = [n for n in made[True] if n not in confirmed and n not in waiting[True]]
        assert len(missing) == outbox.lost
    outbox.close()


def numbers(outbox, notice):
    return [int(body.payload.rstrip(b".")) for body in outbox.waiting(notice=notice, after=0, most=10_000)]


@settings(max_examples=40)
@given(st.integers(1, 200), st.integers(1, 200))
def test_no_notice_goes_while_a_reading_is_there(readings, notices):
    outbox = Outbox(None, limit_bytes=LIMIT_BYTES)
    for _ in range(readings):
        outbox.put("t", b"r" * 100, notice=False)
    for k in range(notices):
        outbox.put("t", b"n" * 100, notice=True)
        if outbox.lost:
            assert numbers_of_readings(outbox) == 0
            break
        assert len(outbox.waiting(notice=True, after=0, most=10_000)) == k + 1
    outbox.close()


def numbers_of_readings(outbox):
    return len(outbox.waiting(notice=False, after=0, most=10_000))
