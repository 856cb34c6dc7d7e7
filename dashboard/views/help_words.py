"""Help: three short sentences for each panel, and the words that the pages use, for a volunteer."""

from typing import NamedTuple

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from monitor.planning.cautions import CAUTIONS as BENCH_CAUTIONS


class Help(NamedTuple):
    """What a panel is for."""

    title: str
    shows: str
    normal: str
    do: str


HELP = {
    "warnings": Help(
        "Warnings",
        "What needs somebody, most urgent first, with what to do.",
        "No warnings. Lost contacts of a tenth of a second, listed as past, happen on every layout.",
        'Do what the arrow says, then press "Seen". "Put aside" hides a warning for a quarter of an hour.',
    ),
    "supply": Help(
        "Supplies",
        "One bar for each supply: what its outputs draw together, against the limit that is reached first. The mark is that limit.",
        "The bar ends well before the mark.",
        "Near the mark, add nothing more. Beyond it, stop a train: the protection may open and everything on that supply stops.",
    ),
    "wave": Help(
        "Volts and amps as they swing now",
        "Three swings of the mains as the board samples them: volts solid, amps dashed.",
        "A smooth wave, or one that is cut off on a side if the throttle works that way. Flat where the supply gives direct current.",
        "A wave with its tips cut off means that the sensor is too small. Gaps mean a bad wire to the sensor.",
    ),
    "district-figures": Help(
        "Figures of this district",
        "What the board measures there now. Volts and amps are effective values (RMS), as a good meter shows them.",
        "Volts as the throttle gives them; amps as the trains there need.",
        "Compare with a meter now and then; 'pilotlamp calibrate' corrects small differences.",
    ),
    "phasing": Help(
        "Against the other supplies",
        "The volts between the live rails of two supplies where their districts meet.",
        "In phase, with a volt or two between them.",
        "Anything else: keep trains from crossing that gap, and go through Before, step 2, with a meter.",
    ),
    "history": Help(
        "Last ten minutes",
        "Volts above, amps below. Thin lines are the lowest volts and the highest amps of each moment.",
        "Steady volts; amps that rise and fall with the trains.",
        "A step that stays is a load that came. A slow rise of amps is a train that runs harder than it should.",
    ),
    "stall-list": Help(
        "What happened",
        "Every time a train was stopped or slowed, and what caused it. Things done on purpose are pale.",
        "A few lost contacts an hour; no shorts.",
        "Choose one to see why, and what to try.",
    ),
    "moment": Help(
        "The moment",
        "Volts and amps around one stall. The shade is while it lasted; dashes are what is usual there.",
        "Before and after look alike.",
        "Try the first remedy of the list, then watch whether it happens again.",
    ),
    "lap": Help(
        "Where on the lap",
        "One turn of the ring is one lap. Each dot is a stall; an arc is where they gather, as wide as it is uncertain.",
        "Dots spread all round: then it is not one place, but rails or wheels as a whole.",
        'Press "The train passes the station now" once, to count from the station. Then turn the district off and look along the whole arc.',
    ),
    "done": Help(
        "What was done, and did it help?",
        "Stalls before and after something you did, counted for the time watched.",
        "Fewer afterwards, by more than chance would bring.",
        "Write down what you did, with its district; keep running the same trains, so that the numbers can be compared.",
    ),
    "slow": Help(
        "What changes slowly",
        "What a supply loses in its own winding and leads, and how soon its protection opens, from session to session.",
        "The same within a tenth, which warmth alone can do.",
        "A steady rise may mean a worn contact, lead or protection: have it checked by somebody licensed.",
    ),
    "sessions": Help(
        "Recorded sessions",
        "Everything that was watched, newest first. Type a month, a day or a title to find one.",
        "One entry each time the program watched.",
        'Choose one to see it whole; "set beside" compares two.',
    ),
    "time-line": Help(
        "The session over time",
        "Volts and amps of each district. One strip above shows warnings; small marks show stalls.",
        "Amps below the dashed limit; few marks.",
        "Drag across a part to look closer. A triangle with a figure is a peak that is higher than the plot.",
    ),
    "tables": Help(
        "Figures of the session",
        "What was drawn on average, most of the time (no higher for 95 % of it), and at most.",
        "Most of the time below 80 % of the plate.",
        "Where a supply was often above its plate, move a load to another one with the strip off: Before, step 3.",
    ),
    "trends": Help(
        "All sessions together",
        "The same figures from session to session.",
        "Lines that stay level.",
        "A line that climbs is worth a look before the next show.",
    ),
    "check": Help(
        "Step 1: check each supply",
        "Whether a supply may be used at all, with every reason.",
        "Fit to use, with nothing left to look at.",
        "Answer the questions with the strip off and the supply unplugged. What is not fit stays off until somebody licensed repaired it.",
    ),
    "wire": Help(
        "Step 2: wire and compare",
        "Which wire goes where, and whether two supplies swing together.",
        "Each district on one output; supplies in phase wherever trains cross.",
        "Strip off before a hand touches a wire. Follow the steps with a meter, in order.",
    ),
    "budget": Help(
        "Step 3: will it be enough?",
        "What all trains and lamps of a supply draw together, against each of its limits.",
        "Everything running stays below 80 %.",
        "Above that, run fewer trains at once, or move a load as proposed, with the strip off.",
    ),
    "list": Help(
        "Step 4: the list",
        "What to look at in the morning, before doors open, and in the evening. Ticks stay on this device until tomorrow.",
        "Everything ticked before the first visitor.",
        "Print it, or tick it off here.",
    ),
    "stations": Help(
        "Stations of the hall",
        "One tile for each layout, the one with the most urgent trouble first.",
        "All running.",
        "Open a tile to see its districts; talk to the people at that layout.",
    ),
}
WORDS = {
    "act now": "At once, or trains stop and things may be damaged.",
    "act soon": "Within minutes: more is drawn than is allowed for long.",
    "for your attention": "When convenient: nothing is wrong yet.",
    "amps (A)": "How much current flows. Each engine and each lamp adds its own.",
    "board": "The small circuit that measures volts and amps and sends them to this computer.",
    "clipped": "More than the sensor can show: the true figure is at least this one.",
    "common": "The wire or rail that all outputs of a supply share.",
    "district": "A stretch of track, or a group of lamps, with a pair of wires of its own.",
    "feeder": "The pair of wires from a supply to a district.",
    "feeder resistance": "How many volts the pair of wires loses for each amp more, in ohms. It grows where a joint corrodes or works loose.",
    "gap": "A cut in the rails between two districts; also a stretch of time without figures.",
    "in phase": "Two supplies whose volts rise and fall together.",
    "lap": "Once round the track.",
    "limit": "How much a supply, an output or a wire may give. The one that is reached first counts.",
    "lost contact": "A train that gets no current for a moment, through dirt or a bad joint.",
    "mostly below": "No higher than this for 95 % of the time.",
    "output": "A pair of posts on a supply. Most supplies have two or more.",
    "peak": "The highest figure of a moment, such as the rush when an engine starts.",
    "peak over RMS": "How pointed a wave is: 1.41 for the smooth wave of a transformer, more where it is chopped.",
    "plate": "The label on a supply that says how much it may give.",
    "protection": "The breaker, fuse or electronics in a supply that opens when too much flows for too long.",
    "RMS": "The effective value of volts or amps, as a good meter shows it.",
    "rush": "The short high current when something is switched on or starts.",
    "session": "One recording, from the start of the program to its end.",
    "short circuit": "Both rails joined by metal: a derailed wheel, a tool, a wrong turnout.",
    "stale": "Old: nothing new has come, so what happens now is not known.",
    "strip": "The socket strip with its marked switch, on which the whole bench hangs.",
    "supply": "A transformer or power pack that feeds the layout.",
    "supply resistance": "How many volts a supply loses for each amp more, in ohms. It grows when something ages or works loose.",
    "throttle": "The lever or knob that sets the volts of an output.",
    "VA": "Volts times amps: what plates of transformers are given in.",
    "volts (V)": "What drives the current. More volts, faster trains.",
    "winding": "The coil of wire in a transformer that feeds its outputs. It can be overloaded long before the plate says so.",
}


def asks(topic: str) -> Component:
    """The "?" of a panel; the page's script shows what it holds."""
    found = HELP[topic]
    return html.Button(
        "?",
        type="button",
        className="asks",
        **hook(help=topic, title=found.title, shows=found.shows, normal=found.normal, do=found.do),
        **aria(label=f"Help: {found.title}", haspopup="dialog"),
    )


def help_page(**_query: str) -> Component:
    """Every panel's three sentences, the words, and the cautions, on one page."""
    panels = [
        html.Details([html.Summary(each.title), html.P(f"{each.shows} Normal: {each.normal} What to do: {each.do}")])
        for each in HELP.values()
    ]
    words = [html.Div([html.Dt(word), html.Dd(meaning)]) for word, meaning in WORDS.items()]
    return html.Main(
        [
            panel("Cautions, worst danger first", "", html.Ul([html.Li(each.text) for each in BENCH_CAUTIONS])),
            panel("What the words mean", "", html.Dl(words, className="words")),
            panel("What each panel shows", "", *panels),
        ],
        className="page help-page",
    )


def panel(title: str, topic: str, *children: Component, wide: bool = False) -> Component:
    """A panel with its title, and its "?" where it has a topic."""
    head = html.Div([html.H2(title), asks(topic)], className="title-row") if topic else html.H2(title)
    return html.Section([head, *children], className="panel wide" if wide else "panel")
