"""Questions at the terminal."""


def typed(prompt: str) -> str:
    """What is typed; nothing where the answers have ended."""
    try:
        return input(prompt).strip()
    except EOFError:
        return ""


def agrees(question: str) -> bool:
    """Whether somebody says yes; anything else is no."""
    return typed(f"{question} ").lower() in ("y", "yes")
