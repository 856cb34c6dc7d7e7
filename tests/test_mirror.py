"""Tests mirror modules: ``tests/ROOM/test_MODULE.py`` or, for one aspect of it, ``tests/ROOM/test_MODULE_ASPECT.py``."""

from pathlib import Path

from tests.test_style import ROOT

WHOLE_ROOMS = {
    "bench": "measures, and is no test",
    "browser": "drives every page in Chromium",
    "faults": "breaks the program as a whole on purpose",
    "firmware": "runs the boards' programs, which are no modules",
    "fuzz": "feeds every door that takes foreign bytes",
    "trust": "attacks the program as a whole, from outside",
}
WHOLE_FILES = {
    "bus/test_safety.py": "the sample configuration of a broker",
    "bus/test_whole_way.py": "stations, a real broker and the hall at once",
    "cli/test_planning_commands.py": "commands as they are typed",
    "dashboard/test_before.py": "the page before the show with its routes",
    "dashboard/test_setup.py": "the set-up page with its routes",
    "dashboard/test_views.py": "all views by one layout",
    "dashboard/hall/test_hall.py": "the hall's page with its routes",
    "diagnosis/test_causes.py": "one cause at a time, through the whole diagnosis",
    "diagnosis/test_cuts.py": "a property of the whole diagnosis",
    "diagnosis/test_lookalikes.py": "pairs of causes that look alike, through the whole diagnosis",
    "standing/test_impossible.py": "what no standing may say, over random moments",
    "diagnosis/test_gaps.py": "a property of the whole diagnosis",
    "diagnosis/test_slow.py": "slow figures, through the whole diagnosis",
    "metering/test_accuracy.py": "figures of the whole meter against closed forms",
    "metering/test_ngspice.py": "figures of the whole meter against a circuit simulator",
    "planning/test_trade_facts.py": "facts of the trade that several rules share",
    "rehearsal/test_physics.py": "the rehearsal's models together obey the circuit's laws",
    "runtime/test_mapped_boards.py": "boards of lines through the whole pipeline",
    "sessions/test_commands.py": "commands as they are typed",
    "sessions/test_demo_sessions.py": "the sessions that come with the program",
    "sessions/test_golden_replay.py": "record, close, replay",
    "sessions/test_hostile_sessions.py": "damaged folders against every reader",
    "sessions/test_joined.py": "windows against chunks, through the whole pipeline",
    "sessions/test_nothing_lost.py": "a recorder killed, cut and filled up",
    "sessions/test_open_part.py": "a recording and its reader at once",
    "sessions/test_review.py": "the review against pandas",
}  # fmt: skip


def _modules(room: Path) -> set[str]:
    home = ROOT / room if room.parts[0] == "dashboard" else ROOT / "monitor" / room
    folders = (home, home / "views") if home.name == "dashboard" else (home,)
    return {path.stem for folder in folders for path in folder.glob("*.py")}


def test_tests_mirror_modules():
    tests = ROOT / "tests"
    lost, needless = [], set(WHOLE_FILES)
    for path in sorted(tests.rglob("test_*.py")):
        name, room = str(path.relative_to(tests)), path.parent.relative_to(tests)
        if not room.parts or room.parts[0] in WHOLE_ROOMS:
            continue
        noun = path.stem.removeprefix("test_")
        mirrors = any(noun == module or noun.startswith(f"{module}_") for module in _modules(room))
        if not mirrors and name not in WHOLE_FILES:
            lost.append(name)
        if not mirrors:
            needless.discard(name)
    assert lost == [], "name the test after its module, or give the reason above why it has none"
    assert needless == set(), "mirrors a module or is gone: strike it off the list"
