"""The whole first set-up: its questions in order, and the layout file that comes of them."""

import datetime as dt

from monitor.layout import Layout, parse_layout
from monitor.layout.check import check_isolation
from monitor.layout.commented_text import commented_text
from monitor.layout.edit import set_board_lines, set_supply_findings
from monitor.setup.calibration_flow import CalibrationFlow
from monitor.setup.draft import SetupDraft
from monitor.setup.interview import Flow, Walk, walk
from monitor.setup.layout_flow import LayoutFlow


class FirstSetup:
    """A set-up as far as its draft goes.

    Args:
        draft: What was typed and seen.
        in_full: Bench check, zero and gain too; the terminal has commands of their own for those.

    Attributes:
        walk: The questions.
    """

    def __init__(self, draft: SetupDraft, *, in_full: bool = False) -> None:
        self._draft = draft
        self._in_full = in_full
        self._layout = LayoutFlow(draft, bench=in_full)
        self._calibration: CalibrationFlow | None = None
        self.walk: Walk = walk(self._flow(), draft.answers)

    @property
    def layout(self) -> Layout:
        """What has come together so far."""
        return self._layout.layout

    def text(self, today: dt.date) -> str:
        """The layout file, its bench check of today.

        Raises:
            LayoutError: What came out is no layout, or joins the commons of two supplies on a board.
        """
        text = self._with_findings(today)
        for board in self._draft.boards:
            if board.lines is not None:
                text = set_board_lines(text, board.name, board.lines, board.baud)
        if self._calibration is not None:
            text = self._calibration.text(text)
        check_isolation(parse_layout(text))
        return text

    def checked_layout(self, today: dt.date) -> Layout:
        """The layout so far with what the bench check found, for its verdicts."""
        return parse_layout(self._with_findings(today))

    def _with_findings(self, today: dt.date) -> str:
        text = commented_text(self.layout)
        for supply, findings in self._layout.findings.items():
            if findings:
                text = set_supply_findings(text, supply, {"checked_on": today.isoformat(), **findings})
        return text

    def _flow(self) -> Flow:
        yield from self._layout.flow()
        if self._in_full:
            self._calibration = CalibrationFlow(self._draft, self.layout)
            yield from self._calibration.flow()
