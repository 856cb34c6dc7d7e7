"""Asks a few questions and makes the layout file of a bench."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from monitor.layout.draft import BoardDraft, DistrictDraft, Draft, OutputDraft, SupplyDraft
from monitor.values import Identity

USUAL_BAUD = 500_000


@dataclass(frozen=True, slots=True, kw_only=True)
class PluggedBoard:
    """A board that was heard.

    Attributes:
        port: Where.
        baud: At which rate.
        identity: What it said of itself.
    """

    port: str
    baud: int
    identity: Identity


class Wizard:
    """Asks; what it learns goes into a :class:`Draft`.

    Args:
        ask: Puts a question, gives the answer; EOFError when the answers end.
        say: Says something.
    """

    def __init__(self, ask: Callable[[str], str], say: Callable[[str], None]) -> None:
        self._ask = ask
        self._say = say
        self._isolated: set[str] = set()

    def run(self, plugged: Sequence[PluggedBoard]) -> Draft:
        """Ask everything.

        Args:
            plugged: What was heard; empty where the board is still to come.

        Raises:
            EOFError: The answers ended before the questions.
        """
        title = self._name("What is the layout called?", (), "My layout")
        volts = self._number("Mains volts where you are?", (90, 260), 120)
        hertz = self._number("Mains hertz?", (15, 65), 60 if volts < 180 else 50)
        supplies: list[SupplyDraft] = []
        while not supplies or self._yes("Is there another supply?", default=False):
            supplies.append(self._supply([supply.name for supply in supplies]))
        boards: list[BoardDraft] = []
        districts: list[DistrictDraft] = []
        outputs = [output for supply in supplies for output in supply.outputs]
        for board in plugged:
            boards.append(_board(board, [known.name for known in boards]))
            self._districts(boards[-1].name, _pairs(board.identity), outputs, districts)
        if not plugged:
            boards.append(BoardDraft(name="bench-1", number=0, port=None, baud=USUAL_BAUD))
            count = int(self._number("How many districts is the board to measure?", (1, 10), 4))
            self._districts("bench-1", [(2 * k, 2 * k + 1) for k in range(count)], outputs, districts)
        boards = [replace(board, isolated_inputs=board.name in self._isolated) for board in boards]
        return Draft(title=title, mains_volts=volts, mains_hertz=hertz, boards=boards, supplies=supplies, districts=districts)

    def _supply(self, taken: Sequence[str]) -> SupplyDraft:
        name = self._name("Name of the supply?", taken, f"Bench {len(taken) + 1}")
        current = self._choice("What comes out, ac or dc?", ("ac", "dc"), "ac")
        rated_va = self._number("Volt-amperes (or watts) on its nameplate, all outputs together?", (1, 100_000), None)
        max_volts = self._number("Highest output volts?", (1, 1000), 18)
        kinds = ("thermal", "electronic", "fuse", "none", "unknown")
        protection = self._choice("What opens when too much is drawn?", kinds, "unknown")
        amps = self._number("At how many amps is it rated (0: not printed)?", (0, 10_000), 0) if protection in kinds[:3] else 0
        outputs: list[OutputDraft] = []
        count = int(self._number("How many outputs has it?", (1, 20), 1))
        for k in range(count):
            output = self._name(f"Name of output {k + 1}?", [known.name for known in outputs], chr(ord("A") + k))
            is_variable = self._yes(f"Does a throttle move output {output}?", default=k == 0)
            outputs.append(OutputDraft(supply=name, name=output, is_variable=is_variable))
        return SupplyDraft(
            name=name,
            current=current,
            rated_va=rated_va,
            max_volts=max_volts,
            protection=protection,
            protection_amps=amps or None,
            outputs=outputs,
        )

    def _districts(
        self, board: str, pairs: Sequence[tuple[int, int]], outputs: Sequence[OutputDraft], districts: list[DistrictDraft]
    ) -> None:
        for volts_channel, amps_channel in pairs:
            question = f"Which district do channels {volts_channel} (volts) and {amps_channel} (amps) of board {board} measure?"
            name = self._name(f"{question} '-' for none.", [known.name for known in districts], f"District {len(districts) + 1}")
            if name == "-":
                continue
            districts.append(
                DistrictDraft(
                    name=name,
                    output=self._output(outputs, board, {known.output.supply for known in districts if known.board == board}),
                    board=board,
                    volts_channel=volts_channel,
                    amps_channel=amps_channel,
                    use=self._choice("What hangs on it, track or accessories?", ("track", "accessories"), "track"),
                )
            )

    def _output(self, outputs: Sequence[OutputDraft], board: str, measured: set[str]) -> OutputDraft:
        """Which output feeds a district; a board that measures another supply already is refused unless its inputs are isolated."""
        while True:
            output = self._chosen(outputs)
            if not measured or output.supply in measured or board in self._isolated:
                return output
            self._say(
                f"  Board {board} measures {' and '.join(sorted(measured))} already. Its common wire would join the commons of two supplies: "
                "that is only possible where every volts input is isolated (firmware_notes/wiring.md)."
            )
            if self._yes("Is every volts input of this board isolated from the others?", default=False):
                self._isolated.add(board)
                return output
            self._say("  Then it measures outputs of the one supply only; the other supply needs a board of its own.")

    def _chosen(self, outputs: Sequence[OutputDraft]) -> OutputDraft:
        if len(outputs) == 1:
            return outputs[0]
        for k, output in enumerate(outputs, 1):
            self._say(f"  {k}: {output.supply}, output {output.name}")
        return outputs[int(self._number("Which of these feeds it?", (1, len(outputs)), 1)) - 1]

    def _name(self, question: str, taken: Sequence[str], default: str) -> str:
        while True:
            answer = self._asked(question, default)
            if answer in taken:
                self._say(f'  "{answer}" is used already: give each its own name.')
            elif len(answer) > 80 or not answer.isprintable():
                self._say("  That is too long or has characters that cannot be shown: up to 80 plain characters.")
            else:
                return answer

    def _number(self, question: str, limits: tuple[float, float], default: float | None) -> float:
        low, high = limits
        while True:
            answer = self._asked(question, "" if default is None else f"{default:g}")
            try:
                value = float(answer.replace(",", "."))
            except ValueError:
                value = float("nan")
            if low <= value <= high:
                return value
            self._say(f"  That is not a number from {low:g} to {high:g}.")

    def _choice(self, question: str, choices: Sequence[str], default: str) -> str:
        while True:
            answer = self._asked(f"{question} ({', '.join(choices)})" if len(choices) > 2 else question, default).lower()
            if answer in choices:
                return answer
            self._say(f"  Answer one of: {', '.join(choices)}.")

    def _yes(self, question: str, *, default: bool) -> bool:
        while True:
            answer = self._asked(question, "yes" if default else "no").lower()
            if answer in ("y", "yes", "n", "no"):
                return answer.startswith("y")
            self._say("  Answer yes or no.")

    def _asked(self, question: str, default: str) -> str:
        """The answer, stripped; the default where it is empty."""
        return self._ask(f"{question} [{default}] " if default else f"{question} ").strip() or default


def _board(plugged: PluggedBoard, taken: Sequence[str]) -> BoardDraft:
    number = len(taken) + 1
    name = plugged.identity.name
    while not name or name in taken:
        name, number = f"bench-{number}", number + 1
    return BoardDraft(name=name, number=plugged.identity.number, port=plugged.port, baud=plugged.baud)


def _pairs(identity: Identity) -> list[tuple[int, int]]:
    """Each volts channel with the amps channel of the same rank."""
    ranks = [[k for k, channel in enumerate(identity.channels) if channel.quantity == quantity] for quantity in ("V", "A")]
    return list(zip(*ranks, strict=False))
