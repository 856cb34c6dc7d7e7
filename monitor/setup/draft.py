"""What was typed and seen so far: plain data that can be kept on the disk and gone on with."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import msgspec
from msgspec import Struct

from monitor.errors import LayoutError
from monitor.layout import LineMapping
from monitor.layout.edit import write_text
from monitor.layout.load import read_text
from monitor.metering.calibration import Observed
from monitor.values import Identity

ANSWERS_LIMIT = 2000


class FoundBoard(Struct, frozen=True, kw_only=True):
    """A board that was found.

    Attributes:
        name: What the layout calls it: its own name, or one given where it has none or another has the same.
        port: Where.
        baud: At which rate.
        identity: What it said of itself.
        lines: What its lines mean, where it prints lines of its own.
    """

    name: str
    port: str
    baud: int
    identity: Identity
    lines: LineMapping | None = None

    @property
    def pairs(self) -> list[tuple[int, int]]:
        """Each volts channel with the amps channel of the same rank."""
        ranks = [
            [k for k, channel in enumerate(self.identity.channels) if channel.quantity == quantity] for quantity in ("V", "A")
        ]
        return list(zip(*ranks, strict=False))


class SeenBoard(Struct, frozen=True, kw_only=True):
    """What a board showed while a person looked at a meter.

    Attributes:
        channels: Of the last seconds, by channel; None where it sent nothing for one.
        supply_volts: The board's own supply; None where it does not measure it.
    """

    channels: tuple[Observed | None, ...]
    supply_volts: float | None = None


class SetupDraft(Struct, frozen=True, kw_only=True):
    """A set-up in the making.

    Attributes:
        answers: What was typed, by the question's key, whether it is an answer or not.
        boards: The boards that the layout is about.
        seen: What was seen when a question was answered, by its key.
    """

    answers: dict[str, str] = {}
    boards: tuple[FoundBoard, ...] = ()
    seen: dict[str, SeenBoard] = {}

    def with_answers(self, typed: Mapping[str, str], seen: Mapping[str, SeenBoard] | None = None) -> "SetupDraft":
        """The draft with more typed into it; nothing else goes.

        Raises:
            LayoutError: It is more than any set-up has.
        """
        answers = self.answers | dict(typed)
        if len(answers) > ANSWERS_LIMIT:
            raise LayoutError("this draft has more answers than a set-up asks for: begin a new one")
        return msgspec.structs.replace(self, answers=answers, seen=self.seen | dict(seen or {}))

    def with_boards(self, found: Iterable[FoundBoard]) -> "SetupDraft":
        """The draft with what was found: known boards by what they say now, further ones behind them, each with a name of its own."""
        boards, found = list(self.boards), list(found)
        ports = {board.port for board in found}
        for board in found:
            known = next((n for n, each in enumerate(boards) if _is_same(each, board, ports)), None)
            if known is not None:
                boards[known] = msgspec.structs.replace(board, name=boards[known].name)
            else:
                boards.append(msgspec.structs.replace(board, name=_free_name(board.name, [each.name for each in boards])))
        return msgspec.structs.replace(self, boards=tuple(boards))


def draft_path(layout: Path) -> Path:
    """Where the draft of a layout file is kept: LAYOUT.toml.draft."""
    return layout.with_suffix(layout.suffix + ".draft")


def load_draft(layout: Path) -> SetupDraft:
    """The draft of a layout file; an empty one where there is none, or none that can be read."""
    try:
        return msgspec.json.decode(read_text(draft_path(layout)), type=SetupDraft)
    except (LayoutError, msgspec.MsgspecError):
        return SetupDraft()


def check_folder(layout: Path) -> None:
    """Try whether a draft can be kept; nothing new stays.

    Raises:
        LayoutError: The folder cannot be written to.
    """
    draft = load_draft(layout)
    keep_draft(layout, draft)
    if draft == SetupDraft():
        draft_path(layout).unlink(missing_ok=True)


def keep_draft(layout: Path, draft: SetupDraft) -> None:
    """Keep a draft beside its layout file, whole or not at all.

    Raises:
        LayoutError: The folder cannot be written to.
    """
    write_text(draft_path(layout), msgspec.json.encode(draft).decode())


def _is_same(known: FoundBoard, found: FoundBoard, ports: set[str]) -> bool:
    """At its port, or plugged in elsewhere while nothing comes from the port where it was."""
    one, other = known.identity, found.identity
    if one.number != other.number or one.name != other.name:
        return False
    return known.port == found.port or (bool(one.name) and known.port not in ports)


def _free_name(wanted: str, taken: Sequence[str]) -> str:
    number = len(taken) + 1
    while not wanted or wanted in taken:
        wanted, number = f"bench-{number}", number + 1
    return wanted
