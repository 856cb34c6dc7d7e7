"""Components as plain markup: a page of thousands of parts is put in at once, where the page framework would take seconds."""

import base64
from collections.abc import Iterator
from html import escape

from dash import html
from dash.development.base_component import Component

VOID = frozenset({"img", "br", "hr", "input"})
NAMES = {"className": "class", "tabIndex": "tabindex", "htmlFor": "for"}


def markup(part: object) -> str:
    """HTML of a component of ``dash.html``, of a list of them, or of a text, which is escaped; nothing of None.

    Raises:
        TypeError: It is a component of another kind, which has no plain form.
    """
    return "".join(_pieces(part))


def svg_image(svg: str, words: str, name: str) -> Component:
    """A picture of our own, with what it shows in words."""
    encoded = base64.b64encode(svg.encode()).decode()
    return html.Img(src=f"data:image/svg+xml;base64,{encoded}", alt=words, className=name)


def _pieces(part: object) -> Iterator[str]:
    if part is None:
        return
    if isinstance(part, list | tuple):
        for each in part:
            yield from _pieces(each)
    elif isinstance(part, Component):
        yield from _element(part)
    else:
        yield escape(str(part))


def _element(part: Component) -> Iterator[str]:
    if part._namespace != "dash_html_components":  # noqa: SLF001 - Dash gives no other way to tell
        raise TypeError(f"{part._type} has no plain form")  # noqa: SLF001
    tag = str(part._type).lower()  # noqa: SLF001
    properties = part.to_plotly_json()["props"]
    attributes = "".join(_attribute(name, value) for name, value in properties.items() if name != "children")
    yield f"<{tag}{attributes}>"
    if tag not in VOID:
        yield from _pieces(properties.get("children"))
        yield f"</{tag}>"


def _attribute(name: str, value: object) -> str:
    if value is None or value is False:
        return ""
    name = NAMES.get(name, name)
    return f" {escape(name)}" if value is True else f' {escape(name)}="{escape(str(value))}"'
