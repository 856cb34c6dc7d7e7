"""A flow at a terminal: one question after the other, back and forth, each answer kept at once."""

from collections.abc import Callable

from monitor.setup.draft import SetupDraft
from monitor.setup.interview import AskedQuestion, Walk
from monitor.setup.questions import SetupQuestion

BACK = ("back", "<")


class TerminalInterview:
    """Asks what is open.

    Args:
        ask: Puts a question, gives the answer; EOFError when the answers end.
        say: Says something.
        keep: Keeps the draft after each answer.
        now: What is seen just now where a question is about it; empty where nothing is.
    """

    def __init__(
        self,
        ask: Callable[[str], str],
        say: Callable[[str], None],
        keep: Callable[[SetupDraft], None],
        now: Callable[[SetupQuestion], str] = lambda _: "",
    ) -> None:
        self._now = now
        self._ask = ask
        self._say = say
        self._keep = keep

    def run(self, draft: SetupDraft, walk_of: Callable[[SetupDraft], Walk]) -> SetupDraft:
        """Ask until nothing is open, from a draft on.

        Raises:
            EOFError: The answers ended before the questions; what was answered is kept.
        """
        at: str | None = None
        walk = walk_of(draft)
        while not walk.finished or at is not None:
            keys = [asked.question.key for asked in walk.asked]
            here = keys.index(at) if at in keys else next(n for n, asked in enumerate(walk.asked) if asked.is_open)
            typed = self._answer(walk.asked[here])
            if typed.lower() in BACK:
                at = keys[max(here - 1, 0)]
                continue
            key = keys[here]
            draft = draft.with_answers({key: typed})
            self._keep(draft)
            going_back = at is not None
            walk = walk_of(draft)
            asked = next(each for each in reversed(walk.asked) if each.question.key == key)
            if asked.complaint:
                self._say(f"  {asked.complaint[0].upper()}{asked.complaint[1:]}.")
            keys = [each.question.key for each in walk.asked]
            after = keys.index(key) + (0 if asked.complaint else 1)
            at = keys[after] if going_back and after < len(keys) else None
        return draft

    def _answer(self, asked: AskedQuestion) -> str:
        question = asked.question
        if seen := self._now(question):
            self._say(seen)
        for word, meaning in question.choices:
            if meaning:
                self._say(f"    {word}: {meaning}")
        words = [word for word, _ in question.choices]
        if words and not any(meaning for _, meaning in question.choices):
            for n, word in enumerate(words, 1):
                self._say(f"    {n}: {word}")
        default = asked.typed if asked.typed and not asked.complaint else question.proposal
        typed = self._ask(f"{question.text} [{default}] " if default else f"{question.text} ").strip()
        return typed or default
