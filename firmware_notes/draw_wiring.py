"""Draws wiring.svg, one district on one board, and two_supplies.svg, two boards: what may be joined and what must never be.

Run it again after a change: ``python firmware_notes/draw_wiring.py``. Resistor values come from the sketch's settings.h.
"""

import re
from pathlib import Path
from xml.sax.saxutils import escape

HERE = Path(__file__).parent
WIDTH, HEIGHT = 1180, 860
INK, HOT, COMMON, LOGIC, WARN, SOFT = "#222222", "#8a3b00", "#1b4f8a", "#4d4d4d", "#a3003a", "#f4f2ec"
HEAVY, THIN = 5, 2


class Drawing:
    """SVG elements in drawing order."""

    def __init__(self) -> None:
        self.parts: list[str] = []

    def line(self, *points: tuple[int, int], colour: str = INK, width: int = THIN, dash: str = "") -> None:
        """A line through points; heavy lines carry track current, thin ones only measure."""
        path = " ".join(f"{x},{y}" for x, y in points)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{width}"{dashed}/>')

    def box(
        self, corner: tuple[int, int], size: tuple[int, int], *, fill: str = "#ffffff", colour: str = INK, dash: str = ""
    ) -> None:
        """A rectangle from its upper left corner."""
        (x, y), (width, height) = corner, size
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        place = f'x="{x}" y="{y}" width="{width}" height="{height}" rx="4"'
        self.parts.append(f'<rect {place} fill="{fill}" stroke="{colour}" stroke-width="2"{dashed}/>')

    def text(self, x: int, y: int, words: str, *, size: int = 15, colour: str = INK, anchor: str = "start") -> None:
        """Lines of text, split at newlines, the first one at y; bold from size 15 up."""
        weight = ' font-weight="bold"' if size >= 15 else ""
        for row, line in enumerate(words.split("\n")):
            self.parts.append(
                f'<text x="{x}" y="{y + row * (size + 4)}" font-size="{size}" fill="{colour}" text-anchor="{anchor}"{weight}>'
                f"{escape(line)}</text>"
            )

    def dot(self, x: int, y: int, colour: str = INK) -> None:
        """A joint."""
        self.parts.append(f'<circle cx="{x}" cy="{y}" r="5" fill="{colour}"/>')

    def resistor(self, x: int, y: int, value: str) -> None:
        """A standing resistor, 50 long from y down, value at its right."""
        self.box((x - 9, y), (18, 50))
        self.text(x + 16, y + 31, value, size=14)

    def hop(self, x: int, y: int, *, standing: bool = True) -> None:
        """A wire that passes over another one without touching it."""
        arc = f"M{x},{y - 8} a8,8 0 0 1 0,16" if standing else f"M{x - 8},{y} a8,8 0 0 1 16,0"
        self.parts.append(f'<path d="{arc}" fill="none" stroke="{INK}" stroke-width="{THIN}"/>')

    def cross(self, x: int, y: int) -> None:
        """Never join here."""
        self.line((x - 13, y - 13), (x + 13, y + 13), colour=WARN, width=HEAVY)
        self.line((x - 13, y + 13), (x + 13, y - 13), colour=WARN, width=HEAVY)

    def earth(self, x: int, y: int) -> None:
        """Protective earth, hanging from (x, y)."""
        for step, half in enumerate((16, 10, 4)):
            self.line((x - half, y + 7 * step), (x + half, y + 7 * step))


def draw() -> str:
    """The whole picture as SVG text."""
    drawing = Drawing()
    _supply(drawing)
    _track(drawing)
    _divider(drawing)
    _board(drawing)
    _computer(drawing)
    _second_supply(drawing)
    _key(drawing)
    return _svg(drawing, (WIDTH, HEIGHT), "Wiring of one district to a sensor board")


def _svg(drawing: Drawing, size: tuple[int, int], title: str) -> str:
    width, height = size
    body = "\n".join(drawing.parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'font-family="DejaVu Sans, Arial, sans-serif">\n'
        f"<title>{title}</title>\n"
        f'<rect width="{width}" height="{height}" fill="{SOFT}"/>\n{body}\n</svg>\n'
    )


def _settings_ohms(name: str) -> float:
    text = (HERE / "packed_board" / "settings.h").read_text(encoding="utf-8")
    found = re.search(rf"#define {name}\s+([0-9.]+)f", text)
    if found is None:
        raise SystemExit(f"settings.h no longer defines {name}: change draw_wiring.py with it")
    return float(found[1])


def _kilohms(ohms: float) -> str:
    return f"{ohms / 1000:g} kΩ"


def _supply(drawing: Drawing) -> None:
    drawing.box((20, 60), (120, 330), fill="#fbe9ee", colour=WARN, dash="8 5")
    drawing.text(80, 90, "MAINS SIDE", size=15, colour=WARN, anchor="middle")
    drawing.text(80, 115, "never touched,\nnever measured", size=13, colour=WARN, anchor="middle")
    drawing.text(80, 300, "cord, plug,\nswitch, primary:\nlicensed\npractice only", size=13, colour=WARN, anchor="middle")
    drawing.box((140, 60), (150, 330))
    drawing.text(215, 85, "North bench", anchor="middle")
    drawing.text(215, 108, "isolating supply\nwith its own breaker", size=13, anchor="middle")
    drawing.cross(80, 195)
    drawing.text(280, 156, "output A, hot", size=13, anchor="end")
    drawing.text(280, 356, "common", size=13, anchor="end")


def _track(drawing: Drawing) -> None:
    drawing.line((290, 170), (620, 170), colour=HOT, width=HEAVY)
    drawing.line((740, 170), (1000, 170), colour=HOT, width=HEAVY)
    drawing.line((290, 370), (1000, 370), colour=COMMON, width=HEAVY)
    drawing.box((1000, 140), (150, 260))
    drawing.text(1075, 250, "Outer main\n(track)", anchor="middle")
    drawing.box((620, 125), (120, 100))
    drawing.line((630, 195), (730, 195), colour=WARN, dash="6 4")
    drawing.line((620, 170), (740, 170), colour=HOT, width=HEAVY)
    drawing.text(680, 148, "current sensor", size=13, anchor="middle")
    drawing.text(680, 214, "isolated", size=13, anchor="middle", colour=WARN)


def _divider(drawing: Drawing) -> None:
    half_top = _kilohms(_settings_ohms("DIVIDER_TOP_OHMS") / 2)
    side = _kilohms(_settings_ohms("DIVIDER_SIDE_OHMS"))
    drawing.dot(360, 170, HOT)
    drawing.line((360, 170), (360, 190))
    drawing.resistor(360, 190, half_top)
    drawing.line((360, 240), (360, 255))
    drawing.resistor(360, 255, half_top)
    drawing.text(440, 240, "both at the output's\nterminal, not at\nthe board", size=12)
    drawing.line((360, 305), (360, 362))
    drawing.line((360, 378), (360, 520))
    drawing.hop(360, 370)
    drawing.dot(360, 520)
    drawing.line((360, 520), (360, 570))
    drawing.resistor(360, 570, side)
    drawing.line((360, 620), (360, 690), (520, 690))
    drawing.line((360, 520), (270, 520), (270, 505))
    drawing.resistor(270, 455, side)
    drawing.line((270, 455), (270, 430), (352, 430))
    drawing.hop(360, 430, standing=False)
    drawing.line((368, 430), (490, 430), (490, 490), (520, 490))
    drawing.line((360, 520), (520, 520))
    drawing.line((450, 520), (450, 590))
    drawing.dot(450, 520)
    drawing.line((437, 590), (463, 590))
    drawing.line((437, 598), (463, 598))
    drawing.text(470, 600, "10 nF", size=13)
    drawing.line((450, 598), (450, 690))
    drawing.dot(450, 690)


def _board(drawing: Drawing) -> None:
    drawing.box((520, 460), (200, 260))
    drawing.text(620, 600, "sensor board\nof North bench", anchor="middle")
    for y, name in ((490, "+5 V"), (520, "A0"), (690, "common (GND)")):
        drawing.text(530, y + 5, name, size=13)
    drawing.text(660, 482, "A1", size=13, anchor="middle")
    drawing.line((660, 225), (660, 275))
    drawing.resistor(660, 275, "5.6 kΩ")
    drawing.line((660, 325), (660, 362))
    drawing.line((660, 378), (660, 460))
    drawing.hop(660, 370)
    drawing.dot(660, 420)
    drawing.line((660, 420), (760, 420), (760, 432))
    drawing.line((747, 432), (773, 432))
    drawing.line((747, 440), (773, 440))
    drawing.line((760, 440), (760, 470))
    drawing.text(782, 441, "10 nF to\ncommon", size=12)
    drawing.line((748, 470), (772, 470), width=3)
    drawing.text(672, 253, "its +5 V and common come from the board", size=12)
    drawing.dot(840, 370, COMMON)
    drawing.line((840, 370), (840, 500), colour=COMMON)
    drawing.box((828, 500), (24, 46))
    drawing.text(862, 520, "fuse 100 mA in the only\nlink to any common", size=13)
    drawing.line((840, 546), (840, 690), (720, 690), colour=COMMON)


def _computer(drawing: Drawing) -> None:
    drawing.line((620, 720), (620, 760), (700, 760), colour=LOGIC)
    drawing.text(628, 752, "USB", size=13)
    drawing.box((700, 735), (130, 50))
    drawing.text(765, 765, "USB isolator", size=14, anchor="middle")
    drawing.line((830, 760), (900, 760), colour=LOGIC)
    drawing.box((900, 735), (110, 50))
    drawing.text(955, 765, "computer", size=14, anchor="middle")
    drawing.line((1010, 760), (1050, 760), (1050, 785))
    drawing.earth(1050, 785)
    drawing.text(1072, 775, "earth, through\nthe computer's\nown cord", size=12)


def _second_supply(drawing: Drawing) -> None:
    drawing.box((900, 570), (250, 110), dash="8 5")
    drawing.text(1025, 595, "South bench (second supply)", size=14, anchor="middle")
    drawing.text(
        1025, 617, "its own board, its own isolator;\nits common is never joined to\nthis board's", size=13, anchor="middle"
    )
    drawing.line((840, 625), (900, 625), colour=WARN, dash="6 4")
    drawing.cross(870, 625)


def _key(drawing: Drawing) -> None:
    drawing.text(
        20, 35, "One district on a sensor board (repeat the divider and the sensor for each output of the SAME supply)", size=17
    )
    for y, colour, width, words in (
        (770, HOT, HEAVY, "heavy: carries track current, hot"),
        (795, COMMON, HEAVY, "heavy: carries track current, common"),
        (820, INK, THIN, "thin: only measures"),
    ):
        drawing.line((20, y), (70, y), colour=colour, width=width)
        drawing.text(80, y + 5, words, size=13)
    drawing.cross(385, 815)
    drawing.text(405, 820, "never join, never touch", size=13)


def draw_two_supplies() -> str:
    """Two supplies, each with a board and an isolator of its own."""
    drawing = Drawing()
    drawing.text(20, 35, "Two supplies: two boards, two isolators, one marked switch", size=17)
    drawing.box((20, 60), (110, 330), fill=SOFT)
    drawing.text(75, 85, "one switched\nstrip, plugs\nmarked", size=13, anchor="middle")
    for row, name in enumerate(("North bench", "South bench")):
        y = 80 + row * 180
        drawing.line((130, y + 50), (180, y + 50))
        drawing.box((180, y), (150, 110))
        drawing.text(255, y + 30, name, size=15, anchor="middle")
        drawing.text(255, y + 55, "hot", size=13, colour=HOT, anchor="middle")
        drawing.text(255, y + 95, "common", size=13, colour=COMMON, anchor="middle")
        drawing.line((330, y + 50), (420, y + 50), colour=HOT)
        drawing.line((330, y + 90), (420, y + 90), colour=COMMON)
        drawing.text(340, y + 42, "2 x 47 kΩ", size=11)
        drawing.text(340, y + 82, "fuse 100 mA", size=11)
        drawing.box((420, y), (170, 110))
        drawing.text(505, y + 50, f"bench-{row + 1}", size=15, anchor="middle")
        drawing.text(505, y + 75, "measures this supply only", size=12, anchor="middle")
        drawing.line((590, y + 55), (650, y + 55))
        drawing.box((650, y + 25), (120, 60), dash="8 5")
        drawing.text(710, y + 60, "USB isolator", size=14, anchor="middle")
        drawing.line((770, y + 55), (840, y + 55))
    drawing.line((505, 190), (505, 260), colour=WARN, dash="6 4")
    drawing.cross(505, 225)
    drawing.text(530, 230, "no wire from board to board", size=13, colour=WARN)
    drawing.line((255, 190), (255, 260), colour=WARN, dash="6 4")
    drawing.cross(255, 225)
    drawing.text(280, 230, "hot posts never joined", size=13, colour=WARN)
    drawing.box((840, 80), (140, 290), fill=SOFT)
    drawing.text(910, 225, "computer", size=15, anchor="middle")
    return _svg(drawing, (1000, 410), "Two supplies with two sensor boards")


if __name__ == "__main__":
    (HERE / "wiring.svg").write_text(draw(), encoding="utf-8")
    (HERE / "two_supplies.svg").write_text(draw_two_supplies(), encoding="utf-8")
